// Runs the page off the main thread. Answers one message after the other, and reads recordings in between.

let host = null;
let memory = null;
let isPlanned = false;
let hasBackground = true;

const jobs = {
  start({ module, background }) {
    memory = wasm_bindgen.initSync({ module }).memory;
    hasBackground = background;
    host = new wasm_bindgen.Host();
  },
  put({ key, files }) {
    host.put_case(key, [...files.keys()], [...files.values()]);
  },
  remove({ key }) {
    host.remove_case(key);
  },
  /// Bytes of the WebAssembly's memory, for who measures.
  size: () => memory.buffer.byteLength,
  handle({ method, path, form, files }) {
    const now = Date.now() / 1000;
    // A short reading is waited for; of a long one the page shows how far it has come.
    const until = performance.now() + 1000 * host.prepare(now, method, path);
    while (hasBackground && performance.now() < until && step());
    const answer = host.handle(now, method, path, form, files);
    const { status, location, kind, attachment, body } = answer;
    answer.free();
    return { status, location, kind, attachment, body, changes: host.changes() };
  },
};

/// Reads one recording; whether there are more.
function step() {
  try {
    return host.step(Date.now() / 1000);
  } catch (error) {
    throw new ReadingDied(error?.message ?? error);
  }
}

class ReadingDied extends Error {}

/// After a trap nothing in the memory can be trusted: no further message is answered.
function die(id, error) {
  host = null;
  postMessage({ id, died: String(error?.message ?? error), isBackground: error instanceof ReadingDied });
  close();
}

onmessage = ({ data }) => {
  try {
    postMessage({ id: data.id, done: jobs[data.job](data) });
  } catch (error) {
    die(data.id, error);
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
      const isMore = step();
      postMessage({ isMore });
      if (isMore) plan();
    } catch (error) {
      die(null, error);
    }
  });
}
