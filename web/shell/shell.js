// What a browser does for a page of a server, done for the page in the worker: links, forms, back, forward, reload, files.

const TRIES = 3;
/// A page that is being read is asked for again at most this often.
const AGAIN_MS = 300;
const LINT_MS = 300;
/// Pages that are kept as they were left, with what was typed in them.
const MOST_KEPT = 20;
const MOST_REDIRECTS = 10;
const MOST_DEATHS = 5;

const store = new Store();
const engine = new Engine();
const view = new View(async (address) => text(await ask("GET", address)));

/// What is shown: its address, the key of its place in the history, what was read of it.
let current = null;
/// Pages by their place in the history, as they were left.
const kept = new Map();
const scrolls = new Map();
let lastKey = Date.now();
let deaths = 0;
let isPosting = false;
let turns = Promise.resolve();
let channel = null;

const text = ({ body }) => new TextDecoder().decode(body);
const split = (address) => {
  const at = address.indexOf("#");
  return at < 0 ? [address, ""] : [address.slice(0, at), address.slice(at + 1)];
};
const addressOfTab = () => (isOurs(location.hash.slice(1)) ? location.hash.slice(1) : "/");

/// One thing after the other: a request, what it stores, what it shows.
function inTurn(job) {
  const done = turns.then(job);
  turns = done.catch(report);
  return turns;
}

async function report(error) {
  while (error instanceof Died) {
    try {
      return await restart(error.message);
    } catch (next) {
      error = next;
    }
  }
  console.error(error);
  view.note("failed", [`This did not work: ${error?.message ?? error}. Nothing that was saved is lost. Try again, or load the page anew.`]);
}

/* Asking */

async function takeOverNewer() {
  const newer = await store.newer();
  for (const { key, files } of newer) await engine.call(files ? "put" : "remove", { key, files });
  return newer.length > 0;
}

/// Asks the worker and stores what that changed, before anybody is told of it.
async function ask(method, path, form = [], files = []) {
  await takeOverNewer();
  for (let tries = 0; ; tries++) {
    const { changes, ...answer } = await engine.call("handle", { method, path, form, files });
    if (changes.length === 0) return answer;
    const kept = await store.save(changes);
    if (kept === "kept") channel?.postMessage(changes.map((change) => change.case));
    noteUnsaved();
    if (kept !== "newer") return answer;
    // Another tab was first: the same request on the case as it now is. The page itself then says what differs.
    await takeOverNewer();
    if (tries === TRIES) throw new Error("another tab was changing the case at the same time, and nothing of this was saved");
  }
}

function noteUnsaved() {
  if (!store.trouble) return view.note("unsaved", null);
  const keys = [...store.unsaved.keys()];
  const parts = [
    `This browser does not keep what you enter here: ${store.trouble}. `,
    keys.length > 0
      ? "What you changed is only in this tab’s memory and is lost when the tab is closed. Save it as a zip file now: "
      : "It will be only in this tab’s memory. Before you close the tab, save each case as a zip file.",
  ];
  keys.forEach((key, at) => {
    if (at > 0) parts.push(", ");
    parts.push(made("a", { href: `#/case/${encodeURIComponent(key)}/case.zip` }, `save “${key}”`));
  });
  view.note("unsaved", parts);
}

async function restart(message) {
  deaths += 1;
  const isHopeless = deaths > MOST_DEATHS;
  view.note("died", [
    `The program in this page has stopped, by a mistake of ours (${message}). `,
    isHopeless
      ? "It stopped again and again, so it is not started any more. Load the page anew. "
      : "It was started again. What was saved is there; what was not saved has to be done again. ",
    engine.hasBackground ? "" : "It was reading a recording: reading stops here until the page is loaded anew. ",
    "If this comes back, save the case as a zip file and show it to whoever looks after the program.",
  ]);
  if (isHopeless) return;
  await engine.start(await store.all());
  if (!current) document.getElementById("opening")?.replaceChildren(made("a", { href: "#/" }, "To the start page"));
}

/* Showing */

/// Asks for an address and shows it. `how`: "push" a new place in the history, "stay" in this one, "back" to a known one.
async function go(method, address, how, { form, files, fragment: wanted, place } = {}) {
  document.body.setAttribute("aria-busy", "true");
  try {
    let [path, fragment] = split(address);
    let answer = await ask(method, path, form, files);
    for (let count = 0; answer.location; count++) {
      if (!isOurs(answer.location) || count === MOST_REDIRECTS) throw new Error("the page leads nowhere");
      method = "GET";
      const [next, part] = split(answer.location);
      [path, fragment] = [next, part || fragment];
      answer = await ask("GET", path);
    }
    view.note("failed", null);
    if (how === "push" && engine.hasBackground) view.note("died", null);
    if (answer.attachment || !answer.kind.startsWith("text/html")) return await savedFile(answer, path);
    // The answer to a form that leads nowhere further stands at the address of the page that had the form.
    if (method !== "GET" && current) [path] = split(current.address);
    await show(await view.read(text(answer)), path + (fragment && `#${fragment}`), how, method !== "GET", place);
  } finally {
    document.body.removeAttribute("aria-busy");
  }
}

async function show(page, address, how, isPosted, place) {
  leave();
  const isFirst = current === null;
  const isNew = how === "push" && (isPosted || address !== current?.address);
  const key = isNew ? ++lastKey : (place?.key ?? current?.key ?? ++lastKey);
  current = { ...page, address, key, isPosted, isTyped: false, isWanted: false };
  if (isNew) history.pushState({ key }, "", `#${address}`);
  else history.replaceState({ ...history.state, key }, "", `#${address}`);
  view.put(page);
  arrive(split(address)[1], place?.scroll, isFirst);
  if (isFirst) performance.mark("jogaudit-shown");
}

/// Scroll and focus after a page has been put there.
function arrive(fragment, scroll, isFirst) {
  scrollTo(0, scroll ?? 0);
  // A page that has just been opened takes no focus, as anywhere.
  if (!isFirst || fragment) view.announce(fragment);
  if (scroll !== undefined) scrollTo(0, scroll);
}

/// Keeps a page that cannot be asked for again as it was: the answer to a form, or one with something typed in.
function leave() {
  if (!current) return;
  if (!current.isPosted && !current.isTyped) return kept.delete(current.key);
  kept.set(current.key, { ...current, nodes: view.shown() });
  if (kept.size > MOST_KEPT) kept.delete(kept.keys().next().value);
}

function savedFile({ attachment, kind, body }, path) {
  const name = attachment ?? (path.split(/[/?]/).filter(Boolean).pop() || "file");
  const address = URL.createObjectURL(new Blob([body], { type: kind }));
  const link = made("a", { href: address, download: name, "data-shell": "" });
  link.addEventListener("click", (event) => event.stopPropagation());
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(address), 60_000);
  view.say(`${name} is saved.`);
  return current ? undefined : go("GET", "/", "stay");
}

/* Where people go */

document.addEventListener("click", (event) => {
  const link = event.target instanceof Element && event.target.closest("a[href]");
  if (!link || event.defaultPrevented) return;
  const address = link.getAttribute("href") ?? link.getAttribute("xlink:href") ?? "";
  const isPlain = event.button === 0 && !event.ctrlKey && !event.metaKey && !event.shiftKey && !event.altKey;
  // In another tab this file opens at the same address by itself.
  if (!isPlain && address.startsWith("#/")) return;
  event.preventDefault();
  if (!isPlain || isPosting) return;
  if (isOurs(address.slice(1))) inTurn(() => go("GET", address.slice(1), "push"));
  else if (address.startsWith("#")) within(address.slice(1));
});

/// A link within the page.
function within(fragment) {
  if (!current || !named(fragment)) return;
  const [path] = split(current.address);
  const address = `${path}#${fragment}`;
  if (address !== current.address) {
    leave();
    const key = ++lastKey;
    // The page itself stays: what was typed in it belongs to both places.
    if (kept.has(current.key)) kept.set(key, { ...kept.get(current.key) });
    current = { ...current, address, key };
    history.pushState({ key }, "", `#${address}`);
  }
  view.announce(fragment);
}

window.addEventListener("popstate", ({ state }) => {
  const address = addressOfTab();
  const scroll = state ? (scrolls.get(state.key) ?? state.scroll) : undefined;
  inTurn(async () => {
    const page = state && kept.get(state.key);
    const place = { key: state?.key ?? ++lastKey, scroll };
    if (!page) return go("GET", address, "back", { place });
    leave();
    const stays = page.nodes.every((node) => node.isConnected);
    current = { ...page, address, key: state.key };
    if (!stays) view.put(page);
    arrive(split(address)[1], scroll, false);
  });
});

history.scrollRestoration = "manual";
document.addEventListener("scroll", () => current && scrolls.set(current.key, scrollY), { passive: true });
window.addEventListener("pagehide", () => current && history.replaceState({ key: current.key, scroll: scrollY }, ""));
window.addEventListener("beforeunload", (event) => store.unsaved.size > 0 && event.preventDefault());

/* Forms */

document.addEventListener("submit", (event) => {
  event.preventDefault();
  if (isPosting || !(event.target instanceof HTMLFormElement)) return;
  send(event.target, event.submitter);
});

function send(form, button) {
  // A field may be called "action" or "method", so the properties of these names are not to be trusted.
  const of = (name) => button?.getAttribute(`form${name}`) ?? form.getAttribute(name);
  const address = of("action") ?? current.address;
  const isPost = (of("method") ?? "get").toLowerCase() === "post";
  if (!isOurs(address) || (form.matches(".drop") && !isFine(form))) return;
  const data = new FormData(form);
  if (button?.getAttribute("name")) data.append(button.getAttribute("name"), button.getAttribute("value") ?? "");
  // As browsers send them: line ends by both signs.
  const line = (value) => value.replace(/\r\n?|\n/g, "\r\n");
  const pairs = [...data].filter(([, value]) => typeof value === "string").map(([name, value]) => [line(name), line(value)]);
  if (!isPost) {
    const [path, fragment] = split(address);
    const query = new URLSearchParams(pairs);
    return inTurn(() => go("GET", `${path.split("?")[0]}?${query}${fragment && `#${fragment}`}`, "push"));
  }
  const chosen = [...data.values()].filter((value) => value instanceof File && (value.name || value.size > 0));
  const label = form.matches(".drop") && form.querySelector("button");
  const before = label && label.textContent;
  if (label) label.textContent = "Taking them in …";
  isPosting = true;
  inTurn(async () => {
    const from = current;
    const wasTyped = current?.isTyped;
    try {
      const files = [];
      for (const file of chosen) files.push([file.webkitRelativePath || file.name, new Uint8Array(await file.arrayBuffer())]);
      // What is sent is not typed text any more, unless sending it fails.
      if (current) current.isTyped = false;
      await go("POST", address, "push", { form: pairs, files });
    } catch (error) {
      if (current === from && current) current.isTyped = wasTyped;
      throw error;
    } finally {
      isPosting = false;
      if (label) label.textContent = before;
    }
  });
}

/// Whether the files of a form can be taken in; it says what cannot.
function isFine(form) {
  const files = [...form.querySelector("input[type=file]").files];
  const most = Number(form.getAttribute("data-most")) || Infinity;
  const large = files.filter((file) => file.size > most);
  const trouble = form.querySelector(".trouble");
  if (!trouble) return true;
  trouble.hidden = large.length === 0 && files.length > 0;
  if (files.length === 0) trouble.textContent = "No file was chosen. Choose one or more recordings first.";
  if (large.length > 0) {
    trouble.textContent =
      `${large.map((file) => file.name).join(", ")}: more than the ${most / 2 ** 20} MiB that a file may have. ` +
      "Choose the recordings of single sessions.";
  }
  return trouble.hidden;
}

for (const name of ["dragenter", "dragover"]) {
  document.addEventListener(name, (event) => {
    event.preventDefault();
    document.querySelector("form.drop")?.classList.add("over");
  });
}
document.addEventListener("dragleave", (event) => {
  if (event.relatedTarget === null) document.querySelector("form.drop")?.classList.remove("over");
});
document.addEventListener("drop", (event) => {
  // Also where there is nothing to drop on: a browser would go to the file.
  event.preventDefault();
  const form = document.querySelector("form.drop");
  form?.classList.remove("over");
  if (!form || isPosting || !event.dataTransfer?.files.length) return;
  form.querySelector("input[type=file]").files = event.dataTransfer.files;
  send(form, null);
});

/* While people type */

const isTyping = () => document.activeElement?.matches("input:not([type=submit], [type=button], [type=file]), textarea, select");

let lintTimer = 0;
document.addEventListener("input", ({ target }) => {
  if (!current || !(target instanceof Element)) return;
  current.isTyped = true;
  const form = target.closest("form#plan[data-lint]");
  if (!form || target.getAttribute("name") !== "text") return;
  clearTimeout(lintTimer);
  lintTimer = setTimeout(() => inTurn(() => lint(form, target)), LINT_MS);
});

async function lint(form, field) {
  const place = document.querySelector("#remarks");
  const address = form.getAttribute("data-lint");
  if (!place || !form.isConnected || !isOurs(address)) return;
  const answer = await ask("POST", address, [["text", field.value]]);
  if (answer.status !== 200) return;
  const remarks = new DOMParser().parseFromString(text(answer), "text/html");
  place.replaceChildren(...clean(remarks.body).childNodes);
}

/// Asks again for a page that said it would, or that another tab has changed; never while somebody types.
let againTimer = 0;
function again(isAtOnce = false) {
  if (!current) return;
  current.isWanted = true;
  if (isAtOnce) clearTimeout(againTimer);
  if (againTimer && !isAtOnce) return;
  againTimer = setTimeout(() => {
    againTimer = 0;
    inTurn(renew);
  }, isAtOnce ? 0 : AGAIN_MS);
}
document.addEventListener("focusout", () => current?.isWanted && again());

async function renew() {
  if (!current?.isWanted || current.isTyped || current.isPosted || isTyping()) return;
  const [path, fragment] = split(current.address);
  current.isWanted = false;
  const answer = await ask("GET", path);
  // It leads elsewhere now: as a browser would.
  if (answer.location) return go("GET", current.address, "stay");
  if (!answer.kind.startsWith("text/html") || current.isTyped) return;
  const page = await view.read(text(answer));
  if (page.html === current.html) return;
  const [at, wasAgain] = [scrollY, current.isAgain];
  const focused = [...document.querySelectorAll("body :is(a[href], button, h1, main)")].indexOf(document.activeElement);
  Object.assign(current, page);
  view.put(page);
  scrollTo(0, at);
  const same = document.querySelectorAll("body :is(a[href], button, h1, main)")[focused];
  if (same?.matches("h1, main")) same.setAttribute("tabindex", "-1");
  same?.focus({ preventScroll: true });
  if (wasAgain && !page.isAgain) view.announce(fragment);
}

/* Opening */

let wasMore = false;
engine.onprogress = (isMore) => {
  // All is read: nothing more will come, so there is nothing to wait for.
  if (current?.isAgain) again(wasMore && !isMore);
  wasMore = isMore;
};
engine.ondeath = (message) => inTurn(() => restart(message));

async function open() {
  await Promise.all([engine.load(), store.open()]);
  await engine.start(await store.all());
  channel = new BroadcastChannel("jogaudit");
  channel.onmessage = () => inTurn(async () => (await takeOverNewer()) && again());
  noteUnsaved();
  const scroll = history.state?.scroll;
  await go("GET", addressOfTab(), "stay", { place: { key: history.state?.key ?? ++lastKey, scroll } });
}

if (!document.documentElement.hasAttribute("data-too-old")) {
  inTurn(open).then(() => {
    if (current || engine.worker) return;
    document.getElementById("opening")?.replaceChildren(
      "The page could not be opened. What it keeps is not touched. Load it anew; if that does not help, open the file in another browser.",
    );
  });
}
