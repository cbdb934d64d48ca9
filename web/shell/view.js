// Puts an answer in place of the page. What an answer holds is taken as text from elsewhere: it is parsed without running
// anything, and only what shows something is let through. The file's own policy holds beside this.

const DROPPED = "script, style, link, meta, base, title:not(svg title), template, iframe, frame, object, embed, applet, portal, set, animate, animateMotion, animateTransform";
const ADDRESSES = ["href", "xlink:href", "src", "action", "formaction", "ping", "poster", "data", "background", "srcset"];

/// An address of the page: begins with one slash.
const isOurs = (address) => /^\/(?![\/\\])/.test(address);

function clean(root) {
  for (const element of root.querySelectorAll(DROPPED)) element.remove();
  for (const element of root.querySelectorAll("*")) {
    for (const { name, value } of [...element.attributes]) {
      const lower = name.toLowerCase();
      if (lower.startsWith("on") || lower === "style" || lower === "srcdoc" || lower === "target") element.removeAttribute(name);
      else if (ADDRESSES.includes(lower) && !isAllowed(element, lower, value)) {
        // A form without an address would go to the page's own; one with an empty one goes nowhere here.
        if (lower.endsWith("action")) element.setAttribute(name, "");
        else element.removeAttribute(name);
      }
    }
    // So that a second tab, a bookmark or the status bar have an address that works.
    const address = element.localName === "a" && element.getAttribute("href");
    if (address && isOurs(address)) element.setAttribute("href", `#${address}`);
  }
  return root;
}

function isAllowed(element, name, value) {
  if (element.localName === "img" && name === "src") return value.startsWith("data:image/");
  if (name === "href" || name === "xlink:href") return value.startsWith("#") || (element.localName === "a" && isOurs(value));
  return (name === "action" || name === "formaction") && isOurs(value);
}

class View {
  sheets = new Map();

  constructor(style) {
    /// Gives the text of a style sheet by its address.
    this.style = style;
    this.notes = made("section", { id: "shell-notes", "aria-label": "About this file" });
    this.said = made("p", { id: "shell-said", role: "status" });
    for (const element of [this.notes, this.said]) element.setAttribute("data-shell", "");
    this.notes.hidden = true;
    document.body.prepend(this.notes);
    document.body.append(this.said);
  }

  async read(html) {
    const answer = new DOMParser().parseFromString(html, "text/html");
    const links = [...answer.querySelectorAll("link[rel=stylesheet]")].map((link) => link.getAttribute("href"));
    const isAgain = answer.querySelector("meta[http-equiv=refresh i]") !== null;
    const sheets = [];
    for (const address of links.filter((address) => address && isOurs(address))) sheets.push(await this.sheet(address));
    const title = answer.title;
    clean(answer.body);
    return { title, lang: answer.documentElement.lang, sheets, isAgain, nodes: [...answer.body.childNodes], html };
  }

  async sheet(address) {
    if (!this.sheets.has(address)) {
      const sheet = new CSSStyleSheet();
      sheet.replaceSync(await this.style(address));
      this.sheets.set(address, sheet);
    }
    return this.sheets.get(address);
  }

  put({ title, lang, sheets, nodes }) {
    for (const node of this.shown()) node.remove();
    document.title = title;
    document.documentElement.lang = lang || "en";
    document.adoptedStyleSheets = sheets;
    this.notes.after(...nodes);
    // The link over what all pages have stays the first.
    const skip = this.notes.nextElementSibling;
    if (skip?.matches("a[href^='#']")) this.notes.before(skip);
  }

  /// What is shown, without what is the shell's own.
  shown() {
    return [...document.body.childNodes].filter((node) => !(node instanceof Element && node.hasAttribute("data-shell")));
  }

  /// Moves the focus to where reading begins, and says where that is to those who do not see it.
  announce(fragment) {
    const target = named(fragment);
    const start = target ?? document.querySelector("main [autofocus], main h1") ?? document.querySelector("main");
    if (start) {
      if (!start.matches("a[href], button, input, select, textarea, [tabindex]")) start.setAttribute("tabindex", "-1");
      start.focus({ preventScroll: true });
    }
    if (target) target.scrollIntoView();
    const told = [...document.querySelectorAll("main [role=status], main [role=alert]:not([hidden])")];
    this.say([document.title, ...told.map((element) => element.textContent.trim())].join(". "));
  }

  say(text) {
    this.said.textContent = text;
  }

  /// Shows a sentence above every page, or takes it away: `parts` are texts and elements.
  note(id, parts) {
    const old = document.getElementById(`shell-${id}`);
    if (!parts) old?.remove();
    else {
      const note = made("p", { id: `shell-${id}`, role: "alert" });
      note.append(...parts);
      if (old?.textContent === note.textContent) return;
      old ? old.replaceWith(note) : this.notes.append(note);
    }
    this.notes.hidden = this.notes.childElementCount === 0;
  }
}

/// The element that the part of an address after # names.
function named(fragment) {
  if (!fragment) return null;
  try {
    return document.getElementById(decodeURIComponent(fragment)) ?? document.getElementById(fragment);
  } catch {
    return document.getElementById(fragment);
  }
}

function made(name, attributes, text = "") {
  const element = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  element.textContent = text;
  return element;
}

