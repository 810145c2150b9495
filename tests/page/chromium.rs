//! A headless Chromium, driven over its DevTools pipe: messages of JSON, each ended by a zero byte.

use serde_json::{Value, json};
use std::cell::{Cell, RefCell};
use std::fs::File;
use std::io::{BufRead, BufReader, Write};
use std::ops::Deref;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

/// How long a browser may take for anything.
const PATIENCE: Duration = Duration::from_secs(60);

/// A running browser.
pub(crate) struct Chromium {
    to: Mutex<File>,
    from: Receiver<Value>,
    next: Cell<u64>,
    errors: RefCell<Vec<String>>,
    pages: RefCell<Vec<Value>>,
    /// Of the pages of the test that has the browser: what those of the last one still say, whose program has ended, is not its fault.
    sessions: RefCell<Vec<Value>>,
}

/// The one browser that all tests share, one test at a time: two cores are not to be shared by five. Its pages end with the test.
pub(crate) struct Lease(MutexGuard<'static, Option<Chromium>>);

impl Deref for Lease {
    type Target = Chromium;

    fn deref(&self) -> &Chromium {
        self.0.as_ref().expect("a lease is of a browser")
    }
}

impl Drop for Lease {
    fn drop(&mut self) {
        // After a failure nobody knows what state it is in: its pipes close, which ends it, and the next test has a new one.
        if std::thread::panicking() {
            *self.0 = None;
            return;
        }
        self.sessions.take();
        for page in self.pages.take() {
            self.call(None, "Target.closeTarget", json!({ "targetId": page }));
        }
    }
}

/// One of its pages.
pub(crate) struct Tab<'c> {
    browser: &'c Chromium,
    session: String,
}

fn find() -> Option<PathBuf> {
    if let Some(named) = std::env::var_os("HOOFGEO_CHROMIUM") {
        return Some(named.into());
    }
    let path = std::env::var_os("PATH")?;
    let names = ["chromium", "chromium-browser", "google-chrome", "google-chrome-stable"];
    std::env::split_paths(&path).flat_map(|dir| names.map(|n| dir.join(n))).find(|p| p.is_file())
}

impl Chromium {
    /// The browser; none, with a note, where there is none on this machine.
    #[allow(clippy::print_stderr, reason = "a skipped test has to say so")]
    pub(crate) fn start() -> Option<Lease> {
        static SHARED: Mutex<Option<Chromium>> = Mutex::new(None);
        let Some(program) = find() else {
            eprintln!("skipped: no Chromium is here (Debian: apt install chromium; or name one in HOOFGEO_CHROMIUM)");
            return None;
        };
        let mut shared = SHARED.lock().unwrap_or_else(PoisonError::into_inner);
        let browser = shared.get_or_insert_with(|| Self::launch(&program));
        browser.errors.take();
        Some(Lease(shared))
    }

    fn launch(program: &Path) -> Self {
        let dir = tempfile::tempdir().unwrap().keep();
        let (to, from) = (dir.join("to"), dir.join("from"));
        assert!(Command::new("mkfifo").args([&to, &from]).status().unwrap().success());
        // The shell gives the browser the two pipes as the descriptors that it expects. It ends with them, when the tests do, and
        // what it has written goes.
        let mut shell = Command::new("sh")
            .args(["-c", r#""$0" "$@" 3<"$TO" 4>"$FROM"; rm -rf "$OWN""#])
            .arg(program)
            .args(["--headless=new", "--remote-debugging-pipe", "--no-sandbox", "--disable-gpu", "--no-first-run"])
            .args(["--disable-dev-shm-usage", "--disable-background-networking", "--disable-component-update"])
            .arg(format!("--user-data-dir={}", dir.join("profile").display()))
            .env("TO", &to)
            .env("FROM", &from)
            .env("OWN", &dir)
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        std::thread::spawn(move || shell.wait());
        // Each opens once the other end is open.
        let to = File::options().write(true).open(&to).unwrap();
        let pipe = File::open(&from).unwrap();
        let (send, received) = channel();
        std::thread::spawn(move || {
            for message in BufReader::new(pipe).split(0).map_while(Result::ok) {
                let Ok(message) = serde_json::from_slice(&message) else { continue };
                if send.send(message).is_err() {
                    return;
                }
            }
        });
        Self {
            to: Mutex::new(to),
            from: received,
            next: Cell::new(1),
            errors: RefCell::default(),
            pages: RefCell::default(),
            sessions: RefCell::default(),
        }
    }

    fn call(&self, session: Option<&str>, method: &str, params: Value) -> Value {
        let id = self.next.replace(self.next.get() + 1);
        let mut message = json!({ "id": id, "method": method, "params": params });
        if let Some(session) = session {
            message["sessionId"] = json!(session);
        }
        let mut bytes = message.to_string().into_bytes();
        bytes.push(0);
        self.to.lock().unwrap().write_all(&bytes).unwrap();
        let since = Instant::now();
        loop {
            let left = PATIENCE.saturating_sub(since.elapsed());
            let answer = self.from.recv_timeout(left).unwrap_or_else(|e| panic!("{method}: {e}"));
            self.note(&answer);
            if answer["id"] == id {
                assert!(answer["error"].is_null(), "{method} {params}: {}", answer["error"]);
                return answer["result"].clone();
            }
        }
    }

    /// Answers for the page's own files with those on disk, where `HOOFGEO_PAGE` names their folder: the page can be worked on
    /// without building.
    fn fulfil(&self, event: &Value) {
        let params = &event["params"];
        let path = params["request"]["url"].as_str().and_then(|u| u.splitn(4, '/').nth(3)).unwrap_or_default();
        let file = PathBuf::from(std::env::var_os("HOOFGEO_PAGE").unwrap_or_default()).join(path);
        let mut answer = json!({ "requestId": params["requestId"] });
        let body = std::fs::read(file).ok();
        let method = if body.is_some() { "Fetch.fulfillRequest" } else { "Fetch.continueRequest" };
        if let Some(body) = body {
            answer["responseCode"] = json!(200);
            answer["responseHeaders"] = params["responseHeaders"].clone();
            answer["body"] = json!(base64(&body));
        }
        let id = self.next.replace(self.next.get() + 1);
        let message = json!({ "id": id, "sessionId": event["sessionId"], "method": method, "params": answer });
        let mut bytes = message.to_string().into_bytes();
        bytes.push(0);
        self.to.lock().unwrap().write_all(&bytes).unwrap();
    }

    /// Keeps what a page's console would show in red.
    fn note(&self, event: &Value) {
        if event["method"] == "Fetch.requestPaused" {
            return self.fulfil(event);
        }
        if !self.sessions.borrow().contains(&event["sessionId"]) {
            return;
        }
        let text = match event["method"].as_str() {
            Some("Runtime.exceptionThrown") => event["params"]["exceptionDetails"].to_string(),
            Some("Log.entryAdded") if event["params"]["entry"]["level"] == "error" => {
                event["params"]["entry"]["text"].to_string()
            }
            Some("Page.javascriptDialogOpening") => format!("a dialog: {}", event["params"]["message"]),
            _ => return,
        };
        self.errors.borrow_mut().push(text);
    }

    /// What went wrong in the pages so far; forgotten thereafter.
    pub(crate) fn errors(&self) -> Vec<String> {
        self.errors.take()
    }

    /// A new page of the given size at an address.
    pub(crate) fn open(&self, address: &str, size: (u32, u32)) -> Tab<'_> {
        let tab = self.page("about:blank", size);
        tab.go(address);
        tab
    }

    /// A new window of the given size on any page.
    pub(crate) fn page(&self, address: &str, (width, height): (u32, u32)) -> Tab<'_> {
        let target = self.call(None, "Target.createTarget", json!({ "url": "about:blank" }));
        self.pages.borrow_mut().push(target["targetId"].clone());
        let attached =
            self.call(None, "Target.attachToTarget", json!({ "targetId": target["targetId"], "flatten": true }));
        self.sessions.borrow_mut().push(attached["sessionId"].clone());
        let tab = Tab { browser: self, session: attached["sessionId"].as_str().unwrap().to_owned() };
        for domain in ["Page", "Runtime", "Log"] {
            tab.call(&format!("{domain}.enable"), json!({}));
        }
        if std::env::var_os("HOOFGEO_PAGE").is_some() {
            let patterns = ["*.js", "*.css"].map(|p| json!({ "urlPattern": p, "requestStage": "Response" }));
            tab.call("Fetch.enable", json!({ "patterns": patterns }));
        }
        tab.size(width, height);
        tab.call("Page.navigate", json!({ "url": address }));
        tab
    }
}

fn base64(bytes: &[u8]) -> String {
    const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut text = String::new();
    for three in bytes.chunks(3) {
        let all = three.iter().fold(0, |n, b| n << 8 | u32::from(*b)) << (8 * (3 - three.len()));
        for i in 0..4 {
            let letter = LETTERS[(all >> (18 - 6 * i)) as usize & 63];
            text.push(if i > three.len() { '=' } else { char::from(letter) });
        }
    }
    text
}

impl Tab<'_> {
    pub(crate) fn call(&self, method: &str, params: Value) -> Value {
        self.browser.call(Some(&self.session), method, params)
    }

    pub(crate) fn size(&self, width: u32, height: u32) {
        let size = json!({ "width": width, "height": height, "deviceScaleFactor": 1, "mobile": false });
        self.call("Emulation.setDeviceMetricsOverride", size);
    }

    /// Goes to an address and waits until the page works.
    pub(crate) fn go(&self, address: &str) {
        // A change behind the `#` alone would load nothing.
        self.call("Page.navigate", json!({ "url": "about:blank" }));
        self.call("Page.navigate", json!({ "url": address }));
        self.until("globalThis.hoofgeo?.store.photo && globalThis.hoofgeo.page.whole");
    }

    /// The value of an expression in the page; promises are waited for.
    pub(crate) fn eval(&self, expression: &str) -> Value {
        let params = json!({ "expression": expression, "awaitPromise": true, "returnByValue": true });
        let result = self.call("Runtime.evaluate", params);
        assert!(result["exceptionDetails"].is_null(), "{expression}: {}", result["exceptionDetails"]);
        result["result"]["value"].clone()
    }

    /// Waits until an expression holds.
    #[track_caller]
    pub(crate) fn until(&self, expression: &str) {
        let since = Instant::now();
        loop {
            let text = format!("Boolean({expression})");
            if self.eval(&text) == true {
                return;
            }
            let seen = || self.eval("document.body?.innerText.slice(0, 1500)");
            assert!(since.elapsed() < PATIENCE, "never: {expression}\n{}\n{:?}", seen(), self.browser.errors.borrow());
            std::thread::sleep(Duration::from_millis(4));
        }
    }

    /// A picture of the page as PNG, in the folder that `HOOFGEO_SHOTS` names, where it does.
    pub(crate) fn picture(&self, name: &str) {
        let Some(folder) = std::env::var_os("HOOFGEO_SHOTS") else { return };
        let png = self.call("Page.captureScreenshot", json!({ "format": "png" }));
        // As it comes: `base64 -d` makes the picture of it.
        std::fs::write(PathBuf::from(folder).join(format!("{name}.png.base64")), png["data"].as_str().unwrap())
            .unwrap();
    }

    pub(crate) fn mouse(&self, kind: &str, [x, y]: [f64; 2]) {
        let button = if kind == "mouseMoved" { "none" } else { "left" };
        self.call(
            "Input.dispatchMouseEvent",
            json!({ "type": kind, "x": x, "y": y, "button": button, "buttons": u8::from(kind != "mouseReleased"), "clickCount": 1 }),
        );
    }

    /// Moves the mouse, nothing pressed.
    pub(crate) fn hover(&self, [x, y]: [f64; 2]) {
        self.call("Input.dispatchMouseEvent", json!({ "type": "mouseMoved", "x": x, "y": y, "buttons": 0 }));
    }

    pub(crate) fn click(&self, at: [f64; 2]) {
        self.mouse("mousePressed", at);
        self.mouse("mouseReleased", at);
    }

    pub(crate) fn touch(&self, kind: &str, points: &[[f64; 2]]) {
        let points: Vec<Value> =
            points.iter().enumerate().map(|(id, p)| json!({ "x": p[0], "y": p[1], "id": id })).collect();
        self.call("Input.dispatchTouchEvent", json!({ "type": kind, "touchPoints": points }));
    }

    /// A key pressed and let go; `modifiers` 1 Alt, 2 Ctrl, 8 Shift.
    pub(crate) fn key(&self, key: &str, modifiers: u8) {
        let code = match key {
            "ArrowLeft" => 37,
            "ArrowUp" => 38,
            "ArrowRight" => 39,
            "ArrowDown" => 40,
            "Enter" => 13,
            "Tab" => 9,
            "Delete" => 46,
            "F6" => 117,
            "Escape" => 27,
            other => other.to_uppercase().bytes().next().unwrap_or(0),
        };
        let mut down = json!({ "type": "keyDown", "key": key, "code": key, "windowsVirtualKeyCode": code, "modifiers": modifiers });
        let text = if key == "Enter" {
            "\r"
        } else if key.chars().count() == 1 {
            key
        } else {
            ""
        };
        if !text.is_empty() && modifiers & 3 == 0 {
            down["text"] = json!(text);
        }
        self.call("Input.dispatchKeyEvent", down);
        self.call(
            "Input.dispatchKeyEvent",
            json!({ "type": "keyUp", "key": key, "code": key, "windowsVirtualKeyCode": code, "modifiers": modifiers }),
        );
    }

    /// Types text into what has the focus.
    pub(crate) fn text(&self, text: &str) {
        self.call("Input.insertText", json!({ "text": text }));
    }
}
