//! Every form of the server, sent with what no page of ours sends.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::{Duration, Instant};

use axum::Router;
use axum::body::Body;
use axum::http::Request;
use concordant::desk::accounts::{Attempt, By, From, claim, issue_claim_codes};
use concordant::desk::sessions::Token;
use concordant::desk::{Desk, bring_in};
use concordant::store::Store;
use concordant::web::{AppState, Settings, router};
use http_body_util::BodyExt;
use jiff::Timestamp;
use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use tower::ServiceExt;

use super::{ALLOWED, SLOWER, mutated, used_by_all};
use crate::access::Open;
use crate::access::office::forms;
use crate::app::PASSWORD;
use crate::properties::long;

/// Forms that hash a password, which takes its time on purpose.
const HASHED: [&str; 4] = ["/sign-in", "/sign-in/code", "/claim", "/password"];
const LOGINS: [&str; 4] = ["0042", "b.tarn", "i.quell", "f.alder"];

/// A course with everybody signed in.
struct Office {
    router: Router,
    tokens: BTreeMap<&'static str, Token>,
}

type Pairs = Vec<(String, String)>;

impl Office {
    async fn open() -> Self {
        let store = Store::passing().await.expect("a store");
        let desk = Arc::new(Desk::open(store).await.expect("a desk"));
        let at = Timestamp::now();
        let folder = crate::access::folder();
        bring_in(&desk, &folder, "test", at)
            .await
            .expect("imported");
        let mut tokens = BTreeMap::new();
        for login in LOGINS {
            if login == "f.alder" {
                let staff = crate::app::people();
                desk.apply(staff, "test", at).await.expect("a prep room");
            }
            let logins = [login.to_owned()];
            let issued = issue_claim_codes(&desk, &logins, By::COMMAND_LINE, at).await;
            let code = issued.expect("a code").remove(0).code;
            let from = From {
                network: "192.0.2.1",
                browser: "",
            };
            let attempt = Attempt { login, from, at };
            let claimed = claim(&desk, attempt, &code, PASSWORD).await;
            tokens.insert(login, claimed.expect("claimed").1);
        }
        let router = router(AppState::new(desk, Settings::default()));
        Self { router, tokens }
    }

    async fn ask(&self, request: Request<Body>) -> (u16, String, String) {
        let answer = self.router.clone().oneshot(request).await;
        let answer = answer.expect("an answer");
        let location = answer.headers().get("location");
        let location = location.map(|to| to.to_str().expect("is text").to_owned());
        let status = answer.status().as_u16();
        let body = answer.into_body().collect().await.expect("a body");
        let body = String::from_utf8_lossy(&body.to_bytes()).into_owned();
        (status, location.unwrap_or_default(), body)
    }

    fn cookie(&self, login: &str) -> String {
        format!("concordant={}", self.tokens[login].as_str())
    }

    /// The forms of all pages: where each is sent to, and what is in it.
    async fn forms(&self) -> BTreeMap<String, Vec<Pairs>> {
        let mut found: BTreeMap<String, Vec<Pairs>> = BTreeMap::new();
        // a board goes on for as long as somebody looks
        let pages = crate::access::pages().into_iter();
        for (_, path, open) in pages.filter(|(_, path, _)| !path.contains("/live")) {
            let request = Request::get(path).header("cookie", self.cookie(who(open)));
            let request = request.body(Body::empty()).expect("a request");
            let (_, _, page) = self.ask(request).await;
            for form in page.split("<form ").skip(1) {
                let form = form.split("</form>").next().unwrap_or_default();
                let Some(action) = after(form, "action=\"") else {
                    continue;
                };
                let fields = form.split("name=\"").skip(1).map(|rest| {
                    let tag = rest.split('>').next().unwrap_or_default();
                    let name = tag.split('"').next().unwrap_or_default();
                    (name.to_owned(), after(tag, "value=\"").unwrap_or_default())
                });
                let fields: Pairs = fields.filter(|(name, _)| name != "csrf").collect();
                found.entry(action).or_default().push(fields);
            }
        }
        found
    }
}

fn after(text: &str, start: &str) -> Option<String> {
    let rest = text.split_once(start)?.1;
    Some(rest.split('"').next().unwrap_or_default().to_owned())
}

fn who(open: Open) -> &'static str {
    match open {
        Open::Student => "0042",
        Open::SectionA | Open::Staff | Open::EveryStaff => "b.tarn",
        Open::Prep => "f.alder",
        Open::All | Open::Nobody | Open::SignedIn | Open::Coordinator => "i.quell",
    }
}

/// The body of a form and its kind, with something in it changed.
fn body(rng: &mut ChaCha8Rng, pairs: &Pairs, token: &str) -> (String, Vec<u8>) {
    let mut pairs = pairs.clone();
    pairs.push(("file".to_owned(), "student_id,section\n0042,A\n".to_owned()));
    for _ in 0..rng.random_range(1..4) {
        let place = rng.random_range(0..pairs.len());
        let seeds: Vec<Vec<u8>> = pairs
            .iter()
            .map(|pair| pair.1.clone().into_bytes())
            .collect();
        let mut value = mutated(rng, &seeds);
        if rng.random_range(0..50) == 0 {
            value = value.repeat(20_000 / value.len().max(1));
        }
        let value = String::from_utf8_lossy(&value).into_owned();
        match rng.random_range(0..8) {
            0 => drop(pairs.remove(place)),
            1 => pairs.insert(place, (value, "x".to_owned())),
            _ => pairs[place].1 = value,
        }
        if pairs.is_empty() {
            break;
        }
    }
    if rng.random_range(0..4) == 0 {
        let mut bytes = Vec::new();
        pairs.insert(0, ("csrf".to_owned(), token.to_owned()));
        for (name, value) in &pairs {
            let file = if name == "file" {
                "; filename=\"a.csv\""
            } else {
                ""
            };
            let name = name.replace(['"', '\r', '\n'], "");
            let head =
                format!("--x\r\nContent-Disposition: form-data; name=\"{name}\"{file}\r\n\r\n");
            bytes.extend(head.into_bytes());
            bytes.extend(value.as_bytes());
            bytes.extend(b"\r\n");
        }
        bytes.extend(b"--x--\r\n");
        if rng.random_range(0..3) == 0 {
            bytes = mutated(rng, &[bytes]);
        }
        return ("multipart/form-data; boundary=x".to_owned(), bytes);
    }
    let encoded = form_urlencoded::Serializer::new(String::new())
        .extend_pairs(&pairs)
        .finish();
    let mut bytes = encoded.into_bytes();
    if rng.random_range(0..3) == 0 {
        bytes = mutated(rng, &[bytes]);
    }
    bytes.extend(format!("&csrf={token}").into_bytes());
    ("application/x-www-form-urlencoded".to_owned(), bytes)
}

#[tokio::test]
async fn every_form_takes_whatever_comes() {
    let mut rng = ChaCha8Rng::seed_from_u64(20_260_915);
    let mut office = Office::open().await;
    let known = office.forms().await;
    let paths = forms();
    let of_pages = paths.iter().filter(|(path, _)| known.contains_key(path));
    let of_pages = of_pages.count();
    assert!(of_pages >= 25, "{of_pages} of {}", paths.len());
    let (each, fresh_after) = if long() { (400, 1) } else { (4, 12) };
    let (mut sent, mut slowest) = (0, (Duration::ZERO, String::new()));
    let mut statuses: BTreeMap<u16, u32> = BTreeMap::new();
    let unknown = vec![vec![("reason".to_owned(), "a reason".to_owned())]];
    for (number, (path, open)) in paths.iter().enumerate() {
        if number % fresh_after == 0 {
            office = Office::open().await;
        }
        let seeds = known.get(path).unwrap_or(&unknown);
        for _ in 0..each {
            let login = who(*open);
            let token = office.tokens[login].form_token();
            let pairs = &seeds[rng.random_range(0..seeds.len())];
            let (kind, bytes) = body(&mut rng, pairs, &token);
            let shown = String::from_utf8_lossy(&bytes[..bytes.len().min(1_000)]).into_owned();
            let (mut took, mut answer) = (Duration::MAX, None);
            for _ in 0..3 {
                let request = Request::post(path)
                    .header("host", "127.0.0.1")
                    .header("sec-fetch-site", "same-origin")
                    .header("cookie", office.cookie(login))
                    .header("content-type", &kind);
                let request = request.body(Body::from(bytes.clone())).expect("a request");
                let (begun, before) = (Instant::now(), used_by_all());
                answer = Some(office.ask(request).await);
                // other work on the machine is not the form's, and other tests are not either
                took = took.min(begun.elapsed()).min(used_by_all() - before);
                sent += 1;
                if took < ALLOWED {
                    break;
                }
            }
            let (status, location, _) = answer.expect("was asked");
            *statuses.entry(status).or_default() += 1;
            assert!(status < 500, "{path} {status}: {shown}");
            if !HASHED.contains(&path.as_str()) && took > slowest.0 {
                slowest = (took, format!("{path}: {shown}"));
            }
            // whoever is signed out, or taken off a list, by what was sent
            if status == 401 || location.starts_with("/sign-in") {
                office = Office::open().await;
            }
        }
    }
    println!("{sent} forms to {} addresses: {statuses:?}", paths.len());
    println!("at most {:.1} ms", slowest.0.as_secs_f64() * 1e3);
    // a form does more than read what it was sent: it judges, and shows a page
    assert!(slowest.0 < ALLOWED * SLOWER * 10, "{slowest:?}");
}
