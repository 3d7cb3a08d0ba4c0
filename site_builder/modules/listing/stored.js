/** The pasted text while its tab is open, so that it is still there after a look at the page that identifies. */

const KEY = "tellmark-listing-text";

/** What was pasted last; nothing where the browser keeps nothing. @returns {string} */
export function remembered() {
  return store()?.getItem(KEY) ?? "";
}

/** @param {string} text */
export function remember(text) {
  try {
    store()?.setItem(KEY, text);
  } catch (error) {
    if (!(error instanceof DOMException)) throw error; // there is no more room; the text stands on the page all the same
  }
}

export function forget() {
  store()?.removeItem(KEY);
}

/** The store of this tab, where there is one. @returns {Storage | null} */
function store() {
  try {
    return window.sessionStorage;
  } catch (error) {
    if (error instanceof DOMException) return null;
    throw error;
  }
}
