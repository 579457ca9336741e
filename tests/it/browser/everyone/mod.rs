//! Every page and every kind of refusal, for everyone: axe finds nothing by WCAG 2.2 AA, light or dark, wide or at 320 px,
//! where nothing scrolls sideways either. The demo is what is looked at, since it has something of everything.
//!
//! axe-core is a tool of the tests and in no page; `.ci/run` fetches it.

mod pages;
mod states;

use std::fs;
use std::time::Duration;

use serde_json::{Value, json};

use super::{Browser, LAPTOP, lacks, with};
use crate::app::{Answer, Person};
use crate::demo::Demo;

/// Where the script of axe is put.
const AXE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/target/axe/axe.min.js");
/// Width and height of what is looked at.
const SIZES: [(u32, u32); 2] = [(1280, 900), (320, 740)];

/// Runs axe and hands back what it finds, a line to a place. In the dark only what colours decide can differ.
const RUN: &str = r#"
const done = arguments[arguments.length - 1];
const tags = ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22a', 'wcag22aa'];
const options = arguments[0] === 'dark'
  ? {runOnly: {type: 'rule', values: ['color-contrast', 'link-in-text-block']}, resultTypes: ['violations']}
  : {runOnly: {type: 'tag', values: tags}, rules: {'target-size': {enabled: true}}, resultTypes: ['violations']};
axe.run(document, options).then(
  found => done(found.violations.flatMap(v => v.nodes.map(n => `${v.id} at ${n.target.join(' ')}: ${n.failureSummary.split('\n').slice(1).join(';')} in ${n.html.slice(0, 160)}`))),
  why => done(['axe did not run: ' + why]));
"#;

/// What sticks out sideways, if the page is wider than the window.
const WIDE: &str = r#"
const wide = document.scrollingElement.scrollWidth, width = arguments[0];
if (wide <= width) return null;
const out = [...document.body.querySelectorAll('*')].filter(e => !e.closest('.scroll') && e.getBoundingClientRect().right > width + 1);
return `${wide} px wide: ` + out.slice(0, 4).map(e => e.outerHTML.slice(0, 120)).join(' | ');
"#;

/// Controls of the main part that are smaller than 44 px; one beside a label counts with it, links within a sentence
/// are words and not targets (WCAG 2.2, 2.5.8).
const SMALL: &str = r#"
const of = e => e.type === 'checkbox' || e.type === 'radio' ? (e.closest('label') || e) : e;
const sentence = e => e.tagName === 'A' && getComputedStyle(e).display === 'inline';
return [...document.querySelectorAll('main :is(a, button, input, select, textarea, summary)')]
  .filter(e => e.type !== 'hidden' && e.checkVisibility() && !sentence(e))
  .map(e => [e, of(e).getBoundingClientRect()])
  .filter(([e, box]) => box.width > 1 && (box.width < 44 || box.height < 43.9))
  .map(([e, box]) => `${Math.round(box.width)} x ${Math.round(box.height)} px: ${e.outerHTML.slice(0, 120)}`);
"#;

/// A page with one fault of each kind that is looked for.
const FAULTY: &str = r#"<!doctype html><html lang="en-GB"><head><title>Faulty</title><link rel="stylesheet" href="/static/style.css">
</head><body><main><h1>Faulty</h1><img src="/static/icon.svg"><p class="soft">soft</p><input type="text"><p class="num">one line of figures that is a good deal wider than a small telephone</p>
<input type="checkbox" aria-label="small"></main></body></html>"#;

#[tokio::test(flavor = "multi_thread")]
async fn everybody_can_use_every_page_and_every_refusal() {
    if lacks([AXE]) {
        return;
    }
    let demo = Demo::start();
    with(LAPTOP, move |browser| async move {
        let mut looker = Looker::new(browser, &demo.address).await;
        looker.page("sign-in", 200, "/sign-in").await;
        let faults = looker.faults_of("bench of faults", FAULTY).await;
        for fault in [
            "light, 320 px: image-alt",
            "label at",
            " px wide",
            " px: <input type=",
        ] {
            assert!(
                faults.iter().any(|line| line.contains(fault)),
                "{fault}: {faults:?}"
            );
        }
        pages::look_at_all(&mut looker, &demo).await;
        states::look_at_all(&mut looker, &demo).await;
        looker.finish(4 * 50);
    })
    .await;
}

/// Looks at pages and gathers what is wrong with them.
pub struct Looker {
    browser: Browser,
    address: String,
    found: Vec<String>,
    looks: usize,
}

impl Looker {
    /// Gets axe ready for every page to come.
    pub async fn new(browser: Browser, address: &str) -> Self {
        let axe = fs::read_to_string(AXE).expect("the script of axe");
        browser.command("Page.enable", json!({})).await;
        browser
            .command(
                "Page.addScriptToEvaluateOnNewDocument",
                json!({"source": axe}),
            )
            .await;
        Self {
            browser,
            address: address.to_owned(),
            found: Vec::new(),
            looks: 0,
        }
    }

    /// Goes on as somebody else.
    pub async fn become_somebody(&self, person: &Person) {
        self.browser.become_somebody(&self.address, person).await;
    }

    /// Looks at the page of that path, which answers with that status.
    pub async fn page(&mut self, name: &str, status: u16, path: &str) {
        self.browser.open(&format!("{}{path}", self.address)).await;
        let script = "return performance.getEntriesByType('navigation')[0].responseStatus";
        assert_eq!(self.run(script, vec![]).await, json!(status), "{name}");
        self.look(name).await;
    }

    /// Looks at a page that came as the answer to a form.
    pub async fn answer(&mut self, name: &str, status: u16, answer: &Answer) {
        assert_eq!(answer.status, status, "{name}: {}", answer.body);
        self.show(&answer.body).await;
        self.look(name).await;
    }

    async fn show(&self, html: &str) {
        let tree = self.browser.command("Page.getFrameTree", json!({})).await;
        let frame = &tree["frameTree"]["frame"]["id"];
        let content = json!({"frameId": frame, "html": html});
        self.browser
            .command("Page.setDocumentContent", content)
            .await;
    }

    /// Looks at a page of our own making, and hands back what is wrong with it.
    pub async fn faults_of(&mut self, name: &str, html: &str) -> Vec<String> {
        let before = self.found.len();
        self.show(html).await;
        self.look(name).await;
        self.found.split_off(before)
    }

    /// Fails with everything that was found.
    pub fn finish(self, at_least: usize) {
        assert!(
            self.looks >= at_least,
            "{} looks, expected {at_least} or more",
            self.looks
        );
        let all = self.found.join("\n");
        assert!(all.is_empty(), "{} faults:\n{all}", self.found.len());
    }

    async fn look(&mut self, name: &str) {
        self.styled(name).await;
        self.run(
            "document.querySelectorAll('details').forEach(d => d.open = true)",
            vec![],
        )
        .await;
        for (width, height) in SIZES {
            let metrics =
                json!({"width": width, "height": height, "deviceScaleFactor": 1, "mobile": false});
            self.browser
                .command("Emulation.setDeviceMetricsOverride", metrics)
                .await;
            let wide = self.run(WIDE, vec![json!(width)]).await;
            if let Some(wide) = wide.as_str() {
                self.found.push(format!("{name}, {width} px: {wide}"));
            }
            if name.starts_with("bench") {
                let small = self.run(SMALL, vec![]).await;
                self.keep(name, &format!("{width} px"), &small);
            }
            for scheme in ["light", "dark"] {
                let features = json!([{"name": "prefers-color-scheme", "value": scheme}]);
                self.browser
                    .command("Emulation.setEmulatedMedia", json!({"features": features}))
                    .await;
                let found = self
                    .browser
                    .driver
                    .execute_async(RUN, vec![json!(scheme)])
                    .await;
                let found = found.expect("axe runs").json().clone();
                self.keep(name, &format!("{scheme}, {width} px"), &found);
                let file = name.replace(|c: char| !c.is_alphanumeric(), "-");
                self.browser
                    .screenshot(&format!("every-{file}-{width}-{scheme}"))
                    .await;
                self.looks += 1;
            }
        }
    }

    /// Waits until the stylesheets count and this is the page of our layout.
    async fn styled(&self, name: &str) {
        let script = "return document.readyState === 'complete' && !!document.querySelector('main > *') \
            && [...document.querySelectorAll('link[rel=stylesheet]')].every(l => l.sheet) && typeof axe === 'object'";
        for _ in 0..200 {
            if self.run(script, vec![]).await == json!(true) {
                return;
            }
            tokio::time::sleep(Duration::from_millis(25)).await;
        }
        panic!("{name}: no page of ours with its styles within 5 s");
    }

    fn keep(&mut self, name: &str, how: &str, found: &Value) {
        let lines = found.as_array().expect("a list").iter();
        let lines =
            lines.map(|line| format!("{name}, {how}: {}", line.as_str().unwrap_or_default()));
        self.found.extend(lines);
    }

    async fn run(&self, script: &str, arguments: Vec<Value>) -> Value {
        let value = self.browser.driver.execute(script, arguments).await;
        value.expect("the script runs").json().clone()
    }
}
