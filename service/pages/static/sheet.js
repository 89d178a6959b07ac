/** Prints the sheet, for those who look for a button. */

for (const button of document.querySelectorAll("button.print")) {
  if (!(button instanceof HTMLButtonElement)) continue;
  button.hidden = false;
  button.addEventListener("click", () => window.print());
}
