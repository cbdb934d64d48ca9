//! The page in a browser: what the shell (`web/shell/`) asks for, answered by the page. Nothing here reaches out of the memory
//! that the browser gave it.
//!
//! **In:** requests as the shell makes them of links and forms, cases as they were stored, the clock. **Out:** answers, and the
//! files that a request changed, which the shell stores.

use js_sys::{Array, Object, Reflect, Uint8Array};
use wasm_bindgen::JsValue;
use wasm_bindgen::prelude::wasm_bindgen;

use jiff::Timestamp;
use jogaudit_page::{Change, MemoryStore, Method, Response, Sent};

/// The page and the cases that it knows.
#[wasm_bindgen]
#[derive(Default)]
pub struct Host {
    store: MemoryStore,
}

/// What the page answers.
#[wasm_bindgen]
#[derive(Debug)]
pub struct Answer(Response);

#[wasm_bindgen]
impl Host {
    /// Makes a page without cases.
    #[wasm_bindgen(constructor)]
    pub fn new() -> Self {
        std::panic::set_hook(Box::new(|what| error(&what.to_string())));
        Self::default()
    }

    /// Takes a case as it was stored, in place of the one of that key: names within the case and, as `Uint8Array`s, their bytes.
    #[allow(clippy::needless_pass_by_value)] // what comes from JavaScript comes as a value
    pub fn put_case(&mut self, key: &str, names: Vec<String>, contents: Array) {
        let contents = contents.iter().map(|bytes| Uint8Array::new(&bytes).to_vec());
        self.store.put_case(key, names.into_iter().zip(contents).collect());
    }

    /// Forgets a case.
    pub fn remove_case(&mut self, key: &str) {
        self.store.forget_case(key);
    }

    /// Says what will be asked: `step` then reads the cases that it needs. Gives the seconds for which that is worth while.
    pub fn prepare(&mut self, now_s: f64, method: &str, path_and_query: &str) -> f64 {
        self.store.prepare(method_of(method), path_and_query, instant(now_s))
    }

    /// Answers a request. `form` holds pairs of name and value, `files` pairs of file name and `Uint8Array`.
    #[allow(clippy::needless_pass_by_value)] // likewise
    pub fn handle(
        &mut self,
        now_s: f64,
        method: &str,
        path_and_query: &str,
        form: Array,
        files: Array,
    ) -> Answer {
        let text = |value: JsValue| value.as_string().unwrap_or_default();
        let fields = pairs(&form).map(|(name, value)| (text(name), text(value))).collect();
        let files =
            pairs(&files).map(|(name, bytes)| (text(name), Uint8Array::new(&bytes).to_vec())).collect();
        let (method, address) = (method_of(method), path_and_query.to_owned());
        Answer(self.store.answer(Sent { method, address, fields, files }, instant(now_s)))
    }

    /// Gives what was written since the last call: `{case, name, bytes}`. Null for name and bytes: the whole case was taken away.
    pub fn changes(&mut self) -> Array {
        self.store.take_changes().iter().map(change).collect()
    }

    /// Does one bounded piece of background reading; `true` while there is more to do.
    pub fn step(&mut self, now_s: f64) -> bool {
        self.store.step(instant(now_s))
    }
}

fn method_of(name: &str) -> Method {
    if name == "POST" { Method::Post } else { Method::Get }
}

fn instant(now_s: f64) -> Timestamp {
    Timestamp::from_millisecond((now_s * 1000.0) as i64).unwrap_or(Timestamp::UNIX_EPOCH)
}

#[wasm_bindgen]
impl Answer {
    /// The status of HTTP.
    #[wasm_bindgen(getter)]
    pub fn status(&self) -> u16 {
        self.0.status
    }

    /// Where to go on.
    #[wasm_bindgen(getter)]
    pub fn location(&self) -> Option<String> {
        self.0.location.clone()
    }

    /// The content type.
    #[wasm_bindgen(getter)]
    pub fn kind(&self) -> String {
        self.0.kind.to_owned()
    }

    /// The file name under which to save the body.
    #[wasm_bindgen(getter)]
    pub fn attachment(&self) -> Option<String> {
        self.0.attachment.clone()
    }

    /// A copy of the body.
    #[wasm_bindgen(getter)]
    pub fn body(&self) -> Uint8Array {
        Uint8Array::from(self.0.body.as_slice())
    }
}

fn change(change: &Change) -> JsValue {
    let object = Object::new();
    let (name, bytes) = match &change.file {
        Some((name, bytes)) => (JsValue::from_str(name), Uint8Array::from(&**bytes).into()),
        None => (JsValue::NULL, JsValue::NULL),
    };
    for (key, value) in [("case", JsValue::from_str(&change.case)), ("name", name), ("bytes", bytes)] {
        // Setting a field of a fresh plain object cannot fail.
        let _ = Reflect::set(&object, &JsValue::from_str(key), &value);
    }
    object.into()
}

fn pairs(list: &Array) -> impl Iterator<Item = (JsValue, JsValue)> {
    list.iter().map(|pair| {
        let pair = Array::from(&pair);
        (pair.get(0), pair.get(1))
    })
}

#[wasm_bindgen]
unsafe extern "C" {
    #[wasm_bindgen(js_namespace = console)]
    fn error(text: &str);
}
