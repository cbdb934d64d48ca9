// Dropping files, and the plan's remarks as one types. Everything works without it.
"use strict";

const drop = document.querySelector("form.drop");
if (drop) {
  const input = drop.querySelector("input[type=file]");
  const trouble = drop.querySelector(".trouble");
  const send = () => {
    const most = Number(drop.dataset.most);
    const large = [...input.files].filter((file) => file.size > most);
    trouble.hidden = large.length === 0 && input.files.length > 0;
    if (input.files.length === 0) {
      trouble.textContent = "No file was chosen. Choose one or more recordings first.";
      return;
    }
    if (large.length > 0) {
      trouble.textContent =
        `${large.map((file) => file.name).join(", ")}: more than the ${most / 2 ** 20} MiB that a file may have. ` +
        "Choose the recordings of single sessions; put large files into the folder recordings/ by hand.";
      return;
    }
    drop.querySelector("button").textContent = "Taking them in …";
    drop.submit();
  };
  for (const name of ["dragenter", "dragover"]) {
    document.addEventListener(name, (event) => {
      event.preventDefault();
      drop.classList.add("over");
    });
  }
  document.addEventListener("dragleave", (event) => {
    if (event.relatedTarget === null) drop.classList.remove("over");
  });
  document.addEventListener("drop", (event) => {
    event.preventDefault();
    drop.classList.remove("over");
    input.files = event.dataTransfer.files;
    send();
  });
  drop.addEventListener("submit", (event) => {
    event.preventDefault();
    send();
  });
  // A page that the browser took out of its memory has its button as it was left.
  window.addEventListener("pageshow", () => (drop.querySelector("button").textContent = "Look at them"));
}

const plan = document.querySelector("form#plan");
if (plan) {
  const remarks = document.querySelector("#remarks");
  let timer = 0;
  let asked = 0;
  plan.elements.text.addEventListener("input", () => {
    clearTimeout(timer);
    timer = setTimeout(async () => {
      const mine = ++asked;
      const body = new URLSearchParams({ text: plan.elements.text.value });
      try {
        const answer = await fetch(plan.dataset.lint, { method: "POST", body });
        const text = await answer.text();
        if (answer.ok && mine === asked) {
          remarks.replaceChildren(document.createRange().createContextualFragment(text));
        }
      } catch {
        // The page has ended; saving will say so.
      }
    }, 300);
  });
}
