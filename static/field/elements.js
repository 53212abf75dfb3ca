// A few functions that make elements: text goes in as text, never as markup.

const SVG = "http://www.w3.org/2000/svg";

function fill(element, props, children) {
  for (const [name, value] of Object.entries(props ?? {})) {
    if (value === null || value === undefined || value === false) continue;
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else if (name === "value") element.value = value;
    else element.setAttribute(name, value === true ? "" : value);
  }
  element.append(...children.flat(3).filter((child) => child !== null && child !== undefined && child !== false));
  return element;
}

/** An HTML element: h("p", {class: "say"}, "words", child, …); `onclick` and the like are listeners. */
export const h = (tag, props, ...children) => fill(document.createElement(tag), props, children);

/** An SVG element. */
export const s = (tag, props, ...children) => fill(document.createElementNS(SVG, tag), props, children);

/**
 * A big button. While its action runs it takes no second tap, so a double-click saves once.
 */
export function act(words, action, { plain = false, ...props } = {}) {
  const button = h("button", { type: "button", class: plain ? "act plain" : "act", ...props }, words);
  button.addEventListener("click", async () => {
    if (button.getAttribute("aria-busy")) return;
    button.setAttribute("aria-busy", "true");
    try { await action(button); } catch (error) { dispatchEvent(new CustomEvent("trouble", { detail: error })); } finally { button.removeAttribute("aria-busy"); }
  });
  return button;
}

/** A line of a list that opens a screen. */
export const line = (href, title, small, aside) => h("li", null,
  h("a", { href, class: "line" }, h("span", null, title, small ? h("small", null, small) : null), aside ? h("b", null, aside) : null));
