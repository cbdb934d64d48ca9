//! The file `jogaudit.html` lets nothing run that came in an answer, and says what is wrong in old browsers.
#![cfg(target_os = "linux")]

use serde_json::json;

use crate::browser::Driver;
use crate::browser_page::body;
use crate::web::{WIDE, address, asked_for, comes, fake, is_shown, listen, opened, type_address};

#[tokio::test]
#[ignore = "needs Chromium and jogaudit.html, see tests/full"]
async fn nothing_in_an_answer_runs_or_leads_elsewhere() {
    let driver = Driver::start();
    let client = opened(&driver).await;
    listen(&client).await;
    asked_for(&driver, &client).await;
    let page = "<title>Harm</title><link rel=stylesheet href='https://evil.example/x.css'><base href='https://evil.example/'>
        <style>h1 { color: rgb(1, 2, 3) }</style><script>window.harm = 'script'</script>
        <meta http-equiv=Content-Security-Policy content=\"default-src *\">
        <main id=main onclick=\"window.harm = 'handler'\"><h1 style='color: rgb(1, 2, 3)'>Harm</h1>
        <img src=x onerror=\"window.harm = 'image'\"><img src='https://evil.example/i.png'>
        <svg onload=\"window.harm = 'svg'\"><script>window.harm = 'svg script'</script><use href='https://evil.example/#a'></use>
        <a href='javascript:window.harm = 1'><text>svg</text></a><set attributeName=href to='javascript:window.harm = 2'></set></svg>
        <iframe srcdoc='<script>parent.harm = 3</script>'></iframe><object data='https://evil.example/'></object>
        <a id=a href='javascript:window.harm = 4'>a</a> <a id=b href='https://evil.example/'>b</a> <a id=c href='//evil.example/'>c</a>
        <a id=d href='/\\evil.example'>d</a> <a id=e href=' javascript:window.harm = 5'>e</a> <a id=f href='other.html'>f</a>
        <a id=g href='data:text/html,<script>1</script>'>g</a>
        <form action='https://evil.example/'><input name=a value=1><button id=h formaction='javascript:window.harm = 6'>h</button></form>
        <form method=post action='//evil.example/'><button id=i>i</button></form></main>";
    fake(&client, "/harm", page).await;
    type_address(&client, "/harm").await;
    let press = "for (const id of 'abcdefghi') for (const type of ['click', 'auxclick'])
            document.getElementById(id).dispatchEvent(new MouseEvent(type, {bubbles: true, cancelable: true}));
        for (const id of 'hi') document.getElementById(id).click();
        document.querySelector('main').click();
        document.querySelector('svg a')?.dispatchEvent(new MouseEvent('click', {bubbles: true, cancelable: true}));
        return [window.harm ?? null, getComputedStyle(document.querySelector('h1')).color === 'rgb(1, 2, 3)',
            document.querySelectorAll('iframe, object, svg script, main script, base').length]";
    assert_eq!(client.execute(press, vec![]).await.unwrap(), json!([null, false, 0]));
    tokio::time::sleep(std::time::Duration::from_millis(500)).await;
    is_shown(&client, "/harm").await;
    assert_eq!(client.execute("return window.harm ?? null", vec![]).await.unwrap(), json!(null));
    assert_eq!(client.windows().await.unwrap().len(), 1);
    assert_eq!(asked_for(&driver, &client).await, Vec::<String>::new());

    // The policy holds where the cleaning would not: what is put there by hand does not run either.
    let by_hand = "const main = document.querySelector('main');
        main.innerHTML = '<img src=x onerror=\"window.harm = 7\"><p style=\"color: rgb(1, 2, 3)\">p</p>';
        const script = document.createElement('script');
        script.textContent = 'window.harm = 8';
        main.append(script);
        const done = arguments[0];
        fetch('https://evil.example/').then(() => done('went out'), () => setTimeout(() =>
            done([window.harm ?? null, getComputedStyle(main.querySelector('p')).color === 'rgb(1, 2, 3)']), 300));";
    assert_eq!(client.execute_async(by_hand, vec![]).await.unwrap(), json!([null, false]));
    client.close().await.unwrap();
}

#[tokio::test]
#[ignore = "needs Chromium and jogaudit.html, see tests/full"]
async fn an_old_browser_and_one_without_scripts_get_a_sentence() {
    let driver = Driver::start();
    for missing in ["WebAssembly", "DecompressionStream", "Worker"] {
        let client = driver.open(WIDE).await;
        let source = format!("delete window.{missing}");
        let command = json!({"cmd": "Page.addScriptToEvaluateOnNewDocument", "params": {"source": source}});
        driver.ask(&client, "goog/cdp/execute", &command).await;
        client.goto(&address()).await.unwrap();
        comes(&client, "a sentence", "return document.body.innerText.includes('too old')").await;
        client.close().await.unwrap();
    }
    let client = driver.open(WIDE).await;
    let command = json!({"cmd": "Emulation.setScriptExecutionDisabled", "params": {"value": true}});
    driver.ask(&client, "goog/cdp/execute", &command).await;
    client.goto(&address()).await.unwrap();
    let text = client.source().await.unwrap_or_default();
    assert!(text.contains("<noscript><p>This page works with JavaScript"), "{}", body(&client).await);
    client.close().await.unwrap();
}
