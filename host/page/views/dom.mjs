// Small helpers over the document. Text always goes in as text, never as markup: names come from strangers.

/** The element with that id. Every id that is asked for stands in index.html.
 * @type {(id: string) => any} */
export const $ = (id) => document.getElementById(id);

/** Make an element: properties by name, then children (elements or text). */
export function make(tag, properties = {}, ...children) {
  const { className, ...rest } = properties;
  const made = document.createElement(tag);
  if (className) made.className = className;
  for (const [name, value] of Object.entries(rest)) {
    if (name.startsWith("on")) made.addEventListener(name.slice(2), value);
    else if (name in made) made[name] = value;
    else made.setAttribute(name, value);
  }
  made.append(...children.filter((child) => child !== null && child !== undefined));
  return made;
}

/** Change a text only where it differs, so that a screen reader is not told the same again. */
export function say(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

/** Call `act` after the button was held for `ms`; a short tap does nothing. */
export function onHold(button, act, ms = 800) {
  let timer = null;
  const begin = (event) => {
    if (button.disabled || timer !== null || (event.type === "keydown" && event.key !== " " && event.key !== "Enter")) return;
    event.preventDefault();
    button.classList.add("held");
    timer = setTimeout(() => { end(); act(); }, ms);
  };
  const end = () => {
    clearTimeout(timer);
    timer = null;
    button.classList.remove("held");
  };
  for (const name of ["pointerdown", "keydown"]) button.addEventListener(name, begin);
  for (const name of ["pointerup", "pointercancel", "pointerleave", "keyup", "blur"]) button.addEventListener(name, end);
  button.addEventListener("contextmenu", (event) => event.preventDefault());
}
