/** Putting something on a club's shelf by the club's link, which stays in this browser if one likes. */

import { element, sentence, told } from "./element.js";

/**
 * What is put there: what it is called when that is done, and the item as the API takes it.
 * @typedef {{name: string, item: Record<string, unknown>}} Thing
 */

/** Where a link and who shares are kept, and the longest name and text. */
const NAME = "trefoil.club";
const LONGEST = 80;
const LONGEST_TEXT = 2000;
const EXPECTED = "The link of a club's shelf was expected, one that allows to add; nothing was sent.";

/**
 * A form that puts something on a shelf, and the link to the shelf that is there once it is done.
 * @param {() => Thing} thing
 * @param {(text: string) => void} say
 * @param {boolean} [texts] whether something can be written beside it
 */
export function shelfForm(thing, say, texts = false) {
  const kept = remembered();
  const link = element("input", { id: "club", autocomplete: "off", autocapitalize: "none", spellcheck: "false" });
  const by = element("input", { id: "by", maxlength: String(LONGEST), autocomplete: "off" });
  const text = element("textarea", { id: "about", rows: "2", maxlength: String(LONGEST_TEXT) });
  const stays = element("input", { type: "checkbox", id: "stays" });
  [link.value, by.value, stays.checked] = [kept.link, kept.by, kept.link !== ""];
  const there = element("p", { hidden: true }, element("a", {}, "See the shelf"));
  const form = element(
    "form",
    { class: "line" },
    element("label", { for: "club" }, "The club's link that allows to add"),
    link,
    ...(texts ? [element("label", { for: "about" }, "What you say of it, if you like"), text] : []),
    element("label", { for: "by" }, "From whom, if you like"),
    by,
    element("p", { class: "ticks" }, element("label", {}, stays, " keep the link and the name in this browser; whoever uses it can add then")),
    element("p", { class: "row" }, element("button", {}, "Put it on the shelf")),
  );
  stays.addEventListener("change", () => {
    if (!stays.checked) remember(null);
  });
  let busy = false;
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    if (busy) return;
    there.hidden = true;
    const { key, wrong } = keyOf(link.value.trim());
    link.toggleAttribute("aria-invalid", false);
    if (wrong) {
      say(wrong);
      link.setAttribute("aria-invalid", "true");
      link.focus();
      return;
    }
    const { name, item } = thing();
    const more = Object.entries({ by: by.value.trim(), text: texts ? text.value.trim() : "" });
    say("One moment.");
    busy = true;
    try {
      await told(`/api/clubs/${encodeURIComponent(key)}/items`, say, {
        method: "POST",
        headers: { "Content-Type": "application/json" },
        body: JSON.stringify({ ...item, ...Object.fromEntries(more.filter(([, own]) => own !== "")) }),
      });
    } catch (error) {
      say(`Not put on the shelf: ${sentence(/** @type {Error} */ (error).message)}`);
      return;
    } finally {
      busy = false;
    }
    const lost = stays.checked && !remember({ link: `/clubs/${encodeURIComponent(key)}`, by: by.value.trim() });
    say(`${name} is on the shelf.${lost ? " This browser keeps nothing for this page." : ""}`);
    there.querySelector("a")?.setAttribute("href", `/clubs/${encodeURIComponent(key)}`);
    there.hidden = false;
  });
  return { form, there };
}

/** The link and the name that this browser keeps, empty for none. */
function remembered() {
  try {
    const { link, by } = JSON.parse(localStorage.getItem(NAME) ?? "{}");
    const own = typeof link === "string" && !keyOf(link).wrong;
    return { link: own ? `${location.origin}${link}` : "", by: own && typeof by === "string" ? by.slice(0, LONGEST) : "" };
  } catch {
    return { link: "", by: "" };
  }
}

/**
 * Keep a link and a name, or with null let them go; false where this browser keeps nothing.
 * @param {{link: string, by: string} | null} own
 */
function remember(own) {
  try {
    if (own) localStorage.setItem(NAME, JSON.stringify(own));
    else localStorage.removeItem(NAME);
    return true;
  } catch {
    return false;
  }
}

/**
 * The key in the link of a club's shelf here, or what is wrong with the link. Who has a key may use
 * the shelf, so that one of another service is sent nowhere.
 * @param {string} link
 * @returns {{key: string, wrong: string}}
 */
function keyOf(link) {
  try {
    // Browsers show addresses without what they begin with.
    const whole = link.startsWith(`${location.host}/`) ? `${location.protocol}//${link}` : link;
    const { host, pathname, protocol } = new URL(whole, location.href);
    if (host !== location.host) {
      const where = /^https?:$/.test(protocol) ? `is of ${host}, another service` : "is none of this service";
      return { key: "", wrong: `That link ${where}; nothing was sent.` };
    }
    const found = /^(?:\/api)?\/clubs\/([^/]+)\/?$/.exec(pathname);
    return found ? { key: decodeURIComponent(found[1]), wrong: "" } : { key: "", wrong: EXPECTED };
  } catch {
    return { key: "", wrong: EXPECTED };
  }
}
