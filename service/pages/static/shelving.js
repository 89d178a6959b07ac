/** A result's page: the result can be put on a club's shelf. */

import { element } from "./element.js";
import { shelfForm } from "./shelf.js";

const box = document.getElementById("shelving");
if (box instanceof HTMLDetailsElement) {
  const said = element("p", { role: "status" });
  const item = JSON.parse(box.dataset.item ?? "{}");
  const thing = () => ({ name: box.dataset.called ?? "It", item });
  const { form, there } = shelfForm(thing, (text) => (said.textContent = text), true);
  box.append(form, said, there);
  box.hidden = false;
}
