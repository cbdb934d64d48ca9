//! The page in a browser: what the shell (`web/shell/`) asks for, answered by the page. Nothing here reaches out of the memory
//! that the browser gave it.
//!
//! **In:** requests as the shell makes them of links and forms, cases as they were stored, the clock. **Out:** answers, and the
//! files that a request changed, which the shell stores.

mod stand_in;

use js_sys::{Array, Object, Reflect, Uint8Array};
use wasm_bindgen::JsValue;
use wasm_bindgen::prelude::wasm_bindgen;

use stand_in::{Change, Page, Request, Response};

/// The page and the cases that it knows.
#[wasm_bindgen]
#[derive(Debug, Default)]
pub struct Host {
    page: Page,
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
        self.page.put_case(key, names.into_iter().zip(contents).collect());
    }

    /// Forgets a case.
    pub fn remove_case(&mut self, key: &str) {
        self.page.remove_case(key);
    }

    /// Answers a request. `form` holds pairs of name and value, `files` pairs of file name and `Uint8Array`.
    #[allow(clippy::needless_pass_by_value)] // likewise
    pub fn handle(
        &mut self,
        now_s: f64,
        utc_offset_s: i32,
        method: &str,
        path_and_query: &str,
        form: Array,
        files: Array,
    ) -> Answer {
        let text = |value: JsValue| value.as_string().unwrap_or_default();
        let form = pairs(&form).map(|(name, value)| (text(name), text(value))).collect();
        let files =
            pairs(&files).map(|(name, bytes)| (text(name), Uint8Array::new(&bytes).to_vec())).collect();
        Answer(self.page.handle(&Request { now_s, utc_offset_s, method, path_and_query, form, files }))
    }

    /// Gives what was written since the last call, in order: `{case, name, bytes}`. Null for bytes: the file was removed; null for the
    /// name as well: the whole case. An empty name says only that the case is there: one that was begun and has no file yet.
    pub fn changes(&mut self) -> Array {
        self.page.changes().iter().map(JsValue::from).collect()
    }

    /// Does one bounded piece of background reading; `true` while there is more to do.
    pub fn step(&mut self, now_s: f64) -> bool {
        self.page.step(now_s)
    }
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
        self.0.kind.clone()
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

impl From<&Change> for JsValue {
    fn from(change: &Change) -> Self {
        let object = Object::new();
        let bytes = change.bytes.as_deref().map_or(Self::NULL, |bytes| Uint8Array::from(bytes).into());
        let name = change.name.as_deref().map_or(Self::NULL, Self::from_str);
        for (key, value) in [("case", Self::from_str(&change.case)), ("name", name), ("bytes", bytes)] {
            // Setting a field of a fresh plain object cannot fail.
            let _ = Reflect::set(&object, &Self::from_str(key), &value);
        }
        object.into()
    }
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
