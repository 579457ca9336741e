//! A real browser, where there is one.
//!
//! Where Chromium or its driver is missing the browser tests say so and pass, unless `CONCORDANT_REQUIRE_BROWSER=1`.
//! Screenshots go to the directory in `CONCORDANT_SCREENSHOTS`, if it is set.

mod audit;
mod bench;
mod campus;
mod department;
mod everyone;
mod feedback;
mod files;
mod interrupted;
mod keyboard;
mod line;
mod live;
mod lti;
mod office;
mod prep;
mod print;
mod sign_in;
mod staff;
mod steps;
pub mod student;
mod two_roles;

use std::fs;
use std::io::{BufRead, BufReader, Write};
use std::panic::resume_unwind;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex, PoisonError, Weak};
use std::time::Duration;

use concordant::desk::accounts::set_password;
use serde_json::json;
use tempfile::TempDir;
use thirtyfour::common::capabilities::chromium::ChromiumLikeCapabilities;
use thirtyfour::{By, ChromeCapabilities, WebDriver, WebElement};

use crate::app::{PASSWORD, Person, TestApp};

const DRIVER: &str = "/usr/bin/chromedriver";
const CHROMIUM: &str = "/usr/bin/chromium";
const ARGUMENTS: &[&str] = &[
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
];

/// How a browser is set up.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Look {
    /// A phone of 360 × 740, or a window of 1280 × 900.
    pub phone: bool,
    /// Prefers a dark theme.
    pub dark: bool,
    /// Runs scripts.
    pub scripts: bool,
}

/// A laptop, light, with scripts.
pub const LAPTOP: Look = Look {
    phone: false,
    dark: false,
    scripts: true,
};
/// A phone, light, with scripts.
pub const PHONE: Look = Look {
    phone: true,
    ..LAPTOP
};

/// A browser window. Clones are the same window.
#[derive(Clone)]
pub struct Browser {
    /// For what is not offered here.
    pub driver: WebDriver,
}

/// Whether a file that browser tests need is not there, which is then said; under `CONCORDANT_REQUIRE_BROWSER=1` it fails.
pub fn lacks<const N: usize>(files: [&str; N]) -> bool {
    let Some(missing) = files.into_iter().find(|file| !Path::new(file).exists()) else {
        return false;
    };
    let required = std::env::var("CONCORDANT_REQUIRE_BROWSER").is_ok_and(|set| set == "1");
    assert!(
        !required,
        "found no {missing}, expected it because CONCORDANT_REQUIRE_BROWSER=1"
    );
    // past the test runner, which keeps what passing tests print to itself
    let said = writeln!(
        std::io::stderr(),
        "browser tests were NOT run: found no {missing}"
    );
    said.expect("stderr takes it");
    true
}

/// Runs a test in a browser of its own, which is closed whatever happens.
pub async fn with<F, Fut>(look: Look, test: F)
where
    F: FnOnce(Browser) -> Fut,
    Fut: Future<Output = ()> + Send + 'static,
{
    if lacks([DRIVER, CHROMIUM]) {
        return;
    }
    let service = DriverProcess::shared();
    let profile = TempDir::new().expect("a temporary directory");
    let driver = open(&service, profile.path(), look).await;
    let browser = Browser { driver };
    let outcome = tokio::spawn(test(browser.clone())).await;
    let closed = browser.driver.quit().await;
    match outcome {
        Err(failed) => resume_unwind(failed.into_panic()),
        Ok(()) => closed.expect("the browser closes"),
    }
}

/// Signs somebody in who has the password of everybody in tests.
pub async fn sign_in(app: &TestApp, browser: &Browser, login: &str) {
    sign_in_at(app, &app.address, browser, login).await;
}

/// The same at another address of the server.
pub async fn sign_in_at(app: &TestApp, address: &str, browser: &Browser, login: &str) {
    let set = set_password(&app.desk, login, PASSWORD, app.clock.now()).await;
    set.expect("an account");
    browser.open(&format!("{address}/sign-in")).await;
    browser.fill("#login", login).await;
    browser.fill("#password", PASSWORD).await;
    browser.submit("main button").await;
}

impl Browser {
    /// Opens an address.
    pub async fn open(&self, address: &str) {
        self.driver.goto(address).await.expect("the page opens");
    }

    /// The first element that matches.
    pub async fn find(&self, css: &str) -> WebElement {
        self.driver
            .find(By::Css(css))
            .await
            .unwrap_or_else(|why| panic!("no {css} on the page: {why}"))
    }

    /// Types into a field, in place of what is in it.
    pub async fn fill(&self, css: &str, text: &str) {
        let field = self.find(css).await;
        field.clear().await.expect("can be emptied");
        field.send_keys(text).await.expect("can be typed into");
    }

    /// Chooses a file in a file field.
    pub async fn choose(&self, css: &str, path: &str) {
        self.find(css)
            .await
            .send_keys(path)
            .await
            .expect("takes a file");
    }

    /// Clicks an element.
    pub async fn click(&self, css: &str) {
        self.find(css).await.click().await.expect("can be clicked");
    }

    /// Clicks what leads to another page, and waits for that page.
    pub async fn submit(&self, css: &str) {
        let before = self.find("html").await;
        self.click(css).await;
        Self::left(&before, css).await;
    }

    /// Presses a key on the page, and waits for the page it leads to.
    pub async fn press(&self, key: &str) {
        let before = self.find("html").await;
        let body = self.find("body").await;
        body.send_keys(key).await.expect("the key is pressed");
        Self::left(&before, key).await;
    }

    async fn left(before: &WebElement, by: &str) {
        for _ in 0..200 {
            if before.tag_name().await.is_err() {
                return;
            }
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
        panic!("{by} led to no other page within 10 s");
    }

    /// The text of an element.
    pub async fn text(&self, css: &str) -> String {
        self.find(css).await.text().await.expect("has text")
    }

    /// The path of the page.
    pub async fn path(&self) -> String {
        self.driver
            .current_url()
            .await
            .expect("an address")
            .path()
            .to_owned()
    }

    /// How many CSS pixels the page is wider than the window; more than 0 means sideways scrolling.
    pub async fn overhang(&self) -> i64 {
        let script =
            "return document.documentElement.scrollWidth - document.documentElement.clientWidth";
        let value = self
            .driver
            .execute(script, vec![])
            .await
            .expect("the script runs");
        value.json().as_i64().expect("a number")
    }

    /// Goes on as somebody who is signed in.
    pub async fn become_somebody(&self, address: &str, person: &Person) {
        self.command("Network.clearBrowserCookies", json!({})).await;
        if let Some((name, value)) = person.cookie().and_then(|cookie| cookie.split_once('=')) {
            let cookie = json!({"name": name, "value": value, "url": address});
            self.command("Network.setCookie", cookie).await;
        }
    }

    /// Calls a method of the browser's own protocol.
    pub async fn command(&self, method: &str, parameters: serde_json::Value) -> serde_json::Value {
        self.driver
            .cdp()
            .send_raw(method, parameters)
            .await
            .expect("the browser obeys")
    }

    /// Keeps a picture of the whole page as `NAME.png`, if pictures are wanted.
    pub async fn screenshot(&self, name: &str) {
        let Some(directory) = std::env::var_os("CONCORDANT_SCREENSHOTS").map(PathBuf::from) else {
            return;
        };
        fs::create_dir_all(&directory).expect("a directory for pictures");
        let metrics = self.command("Page.getLayoutMetrics", json!({})).await;
        let size = &metrics["cssContentSize"];
        let clip =
            json!({"x": 0, "y": 0, "width": size["width"], "height": size["height"], "scale": 1});
        let shot = self
            .command(
                "Page.captureScreenshot",
                json!({"captureBeyondViewport": true, "clip": clip}),
            )
            .await;
        let encoded = shot["data"].as_str().expect("a picture");
        fs::write(directory.join(format!("{name}.png")), from_base64(encoded))
            .expect("the picture is kept");
    }
}

async fn open(service: &DriverProcess, profile: &Path, look: Look) -> WebDriver {
    let mut wanted = ChromeCapabilities::new();
    let profile = format!("--user-data-dir={}", profile.display());
    for argument in ARGUMENTS
        .iter()
        .copied()
        .chain([profile.as_str(), "--window-size=1280,900"])
    {
        wanted.add_arg(argument).expect("an argument");
    }
    if look.phone {
        let metrics =
            json!({"width": 360, "height": 740, "pixelRatio": 2.0, "touch": false, "mobile": true});
        wanted
            .add_experimental_option("mobileEmulation", json!({"deviceMetrics": metrics}))
            .expect("an option");
    }
    let address = format!("http://127.0.0.1:{}", service.port);
    let driver = WebDriver::new(address, wanted).await.expect("a browser");
    let browser = Browser { driver };
    let scheme = if look.dark { "dark" } else { "light" };
    let features = json!([{"name": "prefers-color-scheme", "value": scheme}]);
    browser
        .command("Emulation.setEmulatedMedia", json!({"features": features}))
        .await;
    if !look.scripts {
        browser
            .command(
                "Emulation.setScriptExecutionDisabled",
                json!({"value": true}),
            )
            .await;
    }
    browser.driver
}

/// The driver's process, shared by the tests that run at a time, ended with the last of them.
struct DriverProcess {
    child: Mutex<Child>,
    port: u16,
}

impl DriverProcess {
    fn shared() -> Arc<Self> {
        static SHARED: Mutex<Weak<DriverProcess>> = Mutex::new(Weak::new());
        let mut shared = SHARED.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(running) = shared.upgrade() {
            return running;
        }
        let fresh = Arc::new(Self::start());
        *shared = Arc::downgrade(&fresh);
        fresh
    }

    fn start() -> Self {
        let mut child = Command::new(DRIVER)
            .arg("--port=0")
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("the driver starts");
        let output = BufReader::new(child.stdout.take().expect("its output"));
        let port = output.lines().map_while(Result::ok).find_map(|line| {
            let port = line.split("started successfully on port ").nth(1)?;
            port.trim_end_matches('.').parse().ok()
        });
        Self {
            child: Mutex::new(child),
            port: port.expect("the driver says its port"),
        }
    }
}

impl Drop for DriverProcess {
    fn drop(&mut self) {
        let mut child = self.child.lock().unwrap_or_else(PoisonError::into_inner);
        if child.kill().is_ok() {
            // reaped, so that no process is left behind
            let _status = child.wait();
        }
    }
}

fn from_base64(text: &str) -> Vec<u8> {
    let value = |c: u8| match c {
        b'A'..=b'Z' => Some(u32::from(c - b'A')),
        b'a'..=b'z' => Some(u32::from(c - b'a') + 26),
        b'0'..=b'9' => Some(u32::from(c - b'0') + 52),
        b'+' => Some(62),
        b'/' => Some(63),
        _ => None,
    };
    let sextets: Vec<u32> = text.bytes().filter_map(value).collect();
    let bytes = sextets.chunks(4).flat_map(|group| {
        let bits = group
            .iter()
            .enumerate()
            .fold(0, |bits, (at, sextet)| bits | sextet << (18 - 6 * at));
        bits.to_be_bytes().into_iter().skip(1).take(group.len() - 1)
    });
    bytes.collect()
}
