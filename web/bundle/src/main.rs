//! Puts the page's WebAssembly and its shell into one HTML file: `jogaudit-bundle WASM SHELL-FOLDER OUT`.
//!
//! The same input gives the same bytes. The file's own policy names its scripts and its style by their SHA-256, so that nothing
//! else can run in it: Content Security Policy Level 3, section 2.3.1.

use std::error::Error;
use std::fs;
use std::io::Write as _;
use std::path::Path;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use flate2::{Compression, GzBuilder};
use sha2::{Digest, Sha256};
use wasm_bindgen_cli_support::Bindgen;

/// Most bytes of the file: it is sent by mail and opened on telephones. Our choice.
const MOST_BYTES: usize = 2_500_000;
/// The shell's scripts, in the order in which they stand on each other.
const SHELL: [&str; 4] = ["store.js", "engine.js", "view.js", "shell.js"];

type Outcome<T> = Result<T, Box<dyn Error>>;

fn main() -> Outcome<()> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let [wasm, shell, out] = args.as_slice() else {
        return Err("usage: jogaudit-bundle WASM SHELL-FOLDER OUT".into());
    };
    let page = bundle(Path::new(wasm), Path::new(shell))?;
    if page.len() > MOST_BYTES {
        return Err(format!("the page has {} bytes, {MOST_BYTES} are the most", page.len()).into());
    }
    fs::write(out, &page).map_err(|error| format!("{out}: {error}"))?;
    println!("{out}: {} bytes", page.len());
    Ok(())
}

fn bundle(wasm: &Path, shell: &Path) -> Outcome<String> {
    let mut bound = Bindgen::new()
        .input_path(wasm)
        .no_modules(true)?
        .typescript(false)
        .omit_default_module_path(true)
        .remove_name_section(true)
        .remove_producers_section(true)
        .generate_output()?;
    let glue = bound.js().to_owned();
    let module = bound.wasm_mut().emit_wasm();
    let text = |name: &str| {
        let path = shell.join(name);
        fs::read_to_string(&path).map_err(|error| format!("{}: {error}", path.display()))
    };
    let parts: Result<Vec<String>, String> = SHELL.into_iter().map(text).collect();
    let script = format!("(() => {{\n\"use strict\";\n{}}})();\n", parts?.concat());
    let worker = format!("\"use strict\";\n{glue}\n{}", text("worker.js")?);
    let (check, style) = (text("check.js")?, text("shell.css")?);
    let policy = format!(
        "default-src 'none'; script-src {} {} 'wasm-unsafe-eval'; style-src {}; worker-src blob:; img-src data:; \
         connect-src 'none'; form-action 'none'; base-uri 'none'; object-src 'none'",
        hash(&check),
        hash(&script),
        hash(&style)
    );
    let mut page = text("shell.html")?;
    let fill = [
        ("{{policy}}", policy),
        ("{{style}}", style),
        ("{{check}}", check),
        ("{{worker}}", worker),
        ("{{module}}", STANDARD.encode(packed(&module)?)),
        ("{{script}}", script),
    ];
    for (mark, part) in fill {
        // Inside a script or style element only its own end tag, or a comment's begin, would change how the page is read.
        if ["</script", "</style", "<!--"].iter().any(|end| part.to_ascii_lowercase().contains(end)) {
            return Err(format!("what stands for {mark} would end its element early").into());
        }
        if page.matches(mark).count() != 1 {
            return Err(format!("shell.html has to hold {mark} once").into());
        }
        page = page.replace(mark, &part);
    }
    Ok(page)
}

/// Packs by gzip, without a name or a time in its head.
fn packed(bytes: &[u8]) -> Outcome<Vec<u8>> {
    let mut packer = GzBuilder::new().write(Vec::new(), Compression::best());
    packer.write_all(bytes)?;
    Ok(packer.finish()?)
}

fn hash(text: &str) -> String {
    format!("'sha256-{}'", STANDARD.encode(Sha256::digest(text.as_bytes())))
}
