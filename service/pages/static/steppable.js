/** Buttons that let what stands on a page be stepped through: its parts then stand in their place. */

/**
 * Put a button before something on the page.
 * @param {Element} before
 * @param {string} name what is stepped through
 * @param {() => Promise<HTMLElement> | HTMLElement} open takes it up and returns its parts
 */
export function steppable(before, name, open) {
  const step = document.createElement("button");
  step.type = "button";
  step.className = "plain step";
  const aside = document.createElement("span");
  aside.className = "aside";
  aside.textContent = `: ${name}`;
  step.append("Step through it", aside);
  step.addEventListener("click", async () => {
    step.disabled = true;
    try {
      const strip = await open();
      // There is one drawing: whatever was stepped through before is not any more.
      for (const other of document.querySelectorAll(".strip")) other.remove();
      for (const other of document.querySelectorAll("button.step")) /** @type {HTMLElement} */ (other).hidden = false;
      step.hidden = true;
      before.before(strip);
      strip.querySelector("button")?.focus({ preventScroll: true });
      wrong.textContent = "";
    } catch (error) {
      // What does not come at all is a TypeError; our own say what is wrong.
      const own = error instanceof Error && !(error instanceof TypeError);
      wrong.textContent = own ? `This cannot be stepped through: ${error.message.replace(/\.$/, "")}.` : "It did not come; try again.";
      step.disabled = false;
      if (document.activeElement === document.body) step.focus({ preventScroll: true });
    } finally {
      step.disabled = false;
    }
  });
  const wrong = document.createElement("span");
  wrong.setAttribute("role", "status");
  before.before(step, wrong);
  return step;
}
