/** New links of a club, shown this once: whoever loads the page anew is sent to the shelf, not to founding it twice. */

const links = document.querySelector("#links");
if (links instanceof HTMLElement && links.dataset.shelf) history.replaceState(null, "", links.dataset.shelf);
