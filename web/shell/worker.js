// Runs the page off the main thread. Answers one message after the other, and reads recordings in between.

let host = null;
let isPlanned = false;
let hasBackground = true;

const jobs = {
  start({ module, background }) {
    wasm_bindgen.initSync({ module });
    hasBackground = background;
    host = new wasm_bindgen.Host();
  },
  put({ key, files }) {
    host.put_case(key, [...files.keys()], [...files.values()]);
  },
  remove({ key }) {
    host.remove_case(key);
  },
  handle({ method, path, form, files }) {
    const now = Date.now() / 1000;
    // A short reading is waited for; of a long one the page shows how far it has come.
    if (hasBackground) {
      const until = performance.now() + 1000 * host.prepare(now, method, path);
      while (performance.now() < until && host.step(now)) ;
    }
    const answer = host.handle(now, method, path, form, files);
    const { status, location, kind, attachment, body } = answer;
    answer.free();
    return { status, location, kind, attachment, body, changes: host.changes() };
  },
};

/// After a trap nothing in the memory can be trusted: no further message is answered.
function die(id, error, isBackground) {
  host = null;
  postMessage({ id, died: String(error?.message ?? error), isBackground });
  close();
}

onmessage = ({ data }) => {
  try {
    postMessage({ id: data.id, done: jobs[data.job](data) });
  } catch (error) {
    die(data.id, error, false);
  }
  plan();
};

function plan() {
  if (isPlanned || !hasBackground || host === null) return;
  isPlanned = true;
  setTimeout(() => {
    isPlanned = false;
    if (host === null) return;
    try {
      const isMore = host.step(Date.now() / 1000);
      postMessage({ isMore });
      if (isMore) plan();
    } catch (error) {
      die(null, error, true);
    }
  });
}
