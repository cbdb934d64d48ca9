// Written for the oldest browsers: says what is missing, where the shell itself could not even be read.
(function () {
  var missing = [];
  if (typeof WebAssembly !== "object") missing.push("WebAssembly");
  if (typeof Worker !== "function") missing.push("workers");
  if (typeof DecompressionStream !== "function") missing.push("unpacking of gzip");
  if (typeof CSSStyleSheet !== "function" || !("adoptedStyleSheets" in document)) missing.push("style sheets made by a page");
  if (typeof BroadcastChannel !== "function") missing.push("messages between tabs");
  if (!("replaceChildren" in document.body)) missing.push("today's way to change a page");
  if (missing.length === 0) return;
  document.documentElement.setAttribute("data-too-old", "");
  document.getElementById("opening").textContent =
    "This browser is too old for the page, or a setting keeps from it what the page needs (" +
    missing.join(", ") +
    "). Open the file with a Firefox, Chrome, Edge or Safari of 2023 or later.";
})();
