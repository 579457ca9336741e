//! A server of our own for a test, and people who visit it.

use std::sync::Arc;

use concordant::campus::Campus;
use concordant::changes::Change;
use concordant::course::{Course, StaffMember, StaffRole, Student, Zone};
use concordant::desk::Desk;
use concordant::desk::accounts::{By, issue_claim_codes};
use concordant::store::Store;
use concordant::web::{AppState, Clock, Settings, serve};
use reqwest::header::{COOKIE, HeaderMap, LOCATION, SET_COOKIE};
use reqwest::{Client, RequestBuilder, Response, redirect};
use tempfile::TempDir;
use tokio::net::TcpListener;
use tokio::sync::oneshot;

/// The password of everybody in tests.
pub const PASSWORD: &str = "copper kettle walks north";

/// A running server with a small invented course; gone when dropped.
pub struct TestApp {
    /// Where it listens, such as `http://127.0.0.1:40001`.
    pub address: String,
    /// Its desk.
    pub desk: Arc<Desk>,
    /// Its clock, to be put forward.
    pub clock: Clock,
    directory: TempDir,
    _stop: oneshot::Sender<()>,
}

/// Somebody with a browser's cookies.
pub struct Person {
    address: String,
    client: Client,
    cookie: Option<String>,
    /// By which the browser is known again.
    browser: Option<String>,
    /// What it keeps while it is at the institution's provider.
    campus: Option<String>,
    form_token: Option<String>,
}

/// What came back.
pub struct Answer {
    /// Status.
    pub status: u16,
    /// Headers.
    pub headers: HeaderMap,
    /// Text.
    pub body: String,
    /// As it came, for what is no text.
    pub bytes: Vec<u8>,
}

impl TestApp {
    /// A server as people meet it over plain HTTP on loopback.
    pub async fn spawn() -> Self {
        Self::spawn_with(Settings::default()).await
    }

    /// A server with other settings.
    pub async fn spawn_with(settings: Settings) -> Self {
        Self::spawn_holding(people(), settings, |_| None).await
    }

    /// A server to which a campus sends its people, made from its own address.
    pub async fn spawn_on(settings: Settings, campus: impl FnOnce(&str) -> Campus) -> Self {
        let campus = |address: &str| Some(Arc::new(campus(address)));
        Self::spawn_holding(people(), settings, campus).await
    }

    /// A server with a coordinator and no course, as `add-coordinator` leaves it.
    pub async fn spawn_new() -> Self {
        let coordinator = |change: &Change| matches!(change, Change::Staff(s) if s.role == StaffRole::Coordinator);
        let changes = people().into_iter().filter(coordinator).collect();
        Self::spawn_holding(changes, Settings::default(), |_| None).await
    }

    async fn spawn_holding(
        changes: Vec<Change>,
        settings: Settings,
        campus: impl FnOnce(&str) -> Option<Arc<Campus>>,
    ) -> Self {
        let directory = TempDir::new().expect("a temporary directory");
        let store = Store::open(&directory.path().join("course.db"))
            .await
            .expect("a database");
        let clock = Clock::default();
        let desk = Arc::new(Desk::open(store).await.expect("a desk"));
        let made = desk.apply(changes, "test", clock.now()).await;
        made.expect("a course");
        let listener = TcpListener::bind("127.0.0.1:0").await.expect("a port");
        let address = format!("http://{}", listener.local_addr().expect("an address"));
        let state = AppState {
            clock: clock.clone(),
            campus: campus(&address),
            mail: true,
            ..AppState::new(Arc::clone(&desk), settings)
        };
        let (stop, stopped) = oneshot::channel();
        let until = async move {
            // dropping the sender stops the server as well
            let _dropped = stopped.await;
        };
        tokio::spawn(serve(state, listener, until));
        Self {
            address,
            desk,
            clock,
            directory,
            _stop: stop,
        }
    }

    pub fn database(&self) -> std::path::PathBuf {
        self.directory.path().join("course.db")
    }

    /// Somebody who is not signed in.
    pub fn stranger(&self) -> Person {
        Person::at(&self.address)
    }

    /// A fresh claim code.
    pub async fn code_for(&self, login: &str) -> String {
        let logins = [login.to_owned()];
        let issued =
            issue_claim_codes(&self.desk, &logins, By::COMMAND_LINE, self.clock.now()).await;
        issued.expect("a code").remove(0).code
    }

    /// Somebody who has claimed their account with [`PASSWORD`] and is signed in.
    pub async fn person(&self, login: &str) -> Person {
        let code = self.code_for(login).await;
        self.stranger().claimed(login, &code).await
    }
}

impl Person {
    /// Themselves once they have claimed their account with [`PASSWORD`].
    pub async fn claimed(mut self, login: &str, code: &str) -> Self {
        let fields = [
            ("login", login),
            ("code", code),
            ("password", PASSWORD),
            ("repeat", PASSWORD),
        ];
        let answer = self.post_open("/claim", &fields).await;
        assert_eq!(answer.status, 303, "{}", answer.body);
        self
    }

    /// Asks for a page.
    pub async fn get(&mut self, path: &str) -> Answer {
        self.send(self.request(reqwest::Method::GET, path)).await
    }

    /// Posts a form with the token of the session, read from a page as a browser would have it.
    pub async fn post_form(&mut self, path: &str, fields: &[(&str, &str)]) -> Answer {
        let token = self.form_token().await;
        let mut with_token = vec![("csrf", token.as_str())];
        with_token.extend_from_slice(fields);
        self.post_open(path, &with_token).await
    }

    /// Posts a form with a file, and the token of the session.
    pub async fn post_file(&mut self, path: &str, name: &str, bytes: &[u8]) -> Answer {
        const BETWEEN: &str = "----between-the-parts";
        let token = self.form_token().await;
        let mut body = format!(
            "--{BETWEEN}\r\ncontent-disposition: form-data; name=\"csrf\"\r\n\r\n{token}\r\n--{BETWEEN}\r\n\
             content-disposition: form-data; name=\"file\"; filename=\"{name}\"\r\n\r\n"
        )
        .into_bytes();
        body.extend_from_slice(bytes);
        body.extend_from_slice(format!("\r\n--{BETWEEN}--\r\n").as_bytes());
        let request = self
            .request(reqwest::Method::POST, path)
            .header(
                "content-type",
                format!("multipart/form-data; boundary={BETWEEN}"),
            )
            .body(body);
        self.send(request).await
    }

    /// Posts a form with fields and any number of files, and the token of the session.
    pub async fn post_files(
        &mut self,
        path: &str,
        fields: &[(&str, &str)],
        files: &[(&str, &[u8])],
    ) -> Answer {
        const BETWEEN: &str = "----between-the-parts";
        let token = self.form_token().await;
        let mut body = Vec::new();
        for (name, value) in [("csrf", token.as_str())].iter().chain(fields) {
            let head = format!(
                "--{BETWEEN}\r\ncontent-disposition: form-data; name=\"{name}\"\r\n\r\n{value}\r\n"
            );
            body.extend_from_slice(head.as_bytes());
        }
        for (name, bytes) in files {
            let head = format!(
                "--{BETWEEN}\r\ncontent-disposition: form-data; name=\"file\"; filename=\"{name}\"\r\n\r\n"
            );
            body.extend_from_slice(head.as_bytes());
            body.extend_from_slice(bytes);
            body.extend_from_slice(b"\r\n");
        }
        body.extend_from_slice(format!("--{BETWEEN}--\r\n").as_bytes());
        let request = self
            .request(reqwest::Method::POST, path)
            .header(
                "content-type",
                format!("multipart/form-data; boundary={BETWEEN}"),
            )
            .body(body);
        self.send(request).await
    }

    /// Posts a form without a token.
    pub async fn post_open(&mut self, path: &str, fields: &[(&str, &str)]) -> Answer {
        self.send(self.form(path, fields)).await
    }

    /// A form that is not sent yet, so that headers can be added.
    pub fn form(&self, path: &str, fields: &[(&str, &str)]) -> RequestBuilder {
        let body = form_urlencoded::Serializer::new(String::new())
            .extend_pairs(fields)
            .finish();
        self.request(reqwest::Method::POST, path)
            .header("content-type", "application/x-www-form-urlencoded")
            .body(body)
    }

    /// A request with the cookies.
    pub fn request(&self, method: reqwest::Method, path: &str) -> RequestBuilder {
        let request = self
            .client
            .request(method, format!("{}{path}", self.address));
        let cookies: Vec<&str> = self
            .cookie
            .iter()
            .chain(&self.browser)
            .chain(&self.campus)
            .map(String::as_str)
            .collect();
        if cookies.is_empty() {
            request
        } else {
            request.header(COOKIE, cookies.join("; "))
        }
    }

    /// Sends a request and keeps the cookies that come back.
    /// Where the answer is kept under an address of its own, the person is led there.
    pub async fn send(&mut self, request: RequestBuilder) -> Answer {
        let mut answer = Answer::of(request.send().await.expect("an answer")).await;
        if answer.status == 303 && answer.location().contains("?kept=") {
            let kept = self.request(reqwest::Method::GET, answer.location());
            answer = Answer::of(kept.send().await.expect("an answer")).await;
        }
        for set in answer.headers.get_all(SET_COOKIE) {
            let text = set.to_str().expect("is text");
            let pair = text.split(';').next().unwrap_or_default();
            if pair.contains("-browser=") {
                self.browser = Some(pair.to_owned());
                continue;
            }
            if pair.contains("-campus=") || pair.contains("-lti=") {
                self.campus = (!text.contains("Max-Age=0")).then(|| pair.to_owned());
                continue;
            }
            self.cookie = (!text.contains("Max-Age=0")).then(|| pair.to_owned());
            self.form_token = None;
        }
        answer
    }

    /// The token of the session, from the form that changes the password.
    pub async fn form_token(&mut self) -> String {
        if let Some(token) = &self.form_token {
            return token.clone();
        }
        let page = self.get("/password").await;
        let after = page
            .body
            .split("name=\"csrf\" value=\"")
            .nth(1)
            .expect("a page with a token");
        let token = after.split('"').next().unwrap_or_default().to_owned();
        self.form_token = Some(token.clone());
        token
    }

    /// The cookie as it is sent.
    pub fn cookie(&self) -> Option<&str> {
        self.cookie.as_deref()
    }

    /// What it keeps while it is at the institution's provider.
    pub fn campus_cookie(&mut self) -> &mut Option<String> {
        &mut self.campus
    }

    /// Goes on with another cookie.
    pub fn set_cookie(&mut self, cookie: Option<String>) {
        self.cookie = cookie;
    }
}

impl Answer {
    async fn of(response: Response) -> Self {
        let (status, headers) = (response.status().as_u16(), response.headers().clone());
        let bytes = response.bytes().await.expect("a whole answer").to_vec();
        Self {
            status,
            headers,
            body: String::from_utf8_lossy(&bytes).into_owned(),
            bytes,
        }
    }

    /// Where a redirection leads.
    pub fn location(&self) -> &str {
        self.header(LOCATION.as_str())
    }

    /// A header, empty if it is not there.
    pub fn header(&self, name: &str) -> &str {
        self.headers
            .get(name)
            .and_then(|value| value.to_str().ok())
            .unwrap_or_default()
    }
}

/// An invented course: a coordinator, two assistants, three students.
pub fn people() -> Vec<Change> {
    let zone = Zone::new("Europe/Lisbon").expect("is a zone");
    let course = Course {
        title: "Quantitative analysis".into(),
        term: "autumn 2026".into(),
        zone,
        language: concordant::language::Language::default(),
    };
    let staff = |login: &str, name: &str, role, sections: &[&str]| {
        Change::Staff(StaffMember {
            login: login.into(),
            name: name.into(),
            role,
            sections: sections
                .iter()
                .map(|&s| concordant::ids::SectionName::new(s))
                .collect(),
        })
    };
    let student = |id: &str, family: &str, given: &str, section: &str| {
        Change::Student(Student {
            id: concordant::ids::StudentId::new(id),
            family_name: family.into(),
            given_name: given.into(),
            section: concordant::ids::SectionName::new(section),
            email: String::new(),
            sourced_id: String::new(),
            left: None,
        })
    };
    vec![
        Change::Course(course),
        staff("i.quell", "Iris Quell", StaffRole::Coordinator, &[]),
        staff("b.tarn", "Bo Tarn", StaffRole::Assistant, &["A"]),
        staff("m.sedge", "Mara Sedge", StaffRole::Assistant, &["B"]),
        staff("f.alder", "Finn Alder", StaffRole::Prep, &[]),
        student("0042", "Fennimore", "Ada", "A"),
        student("0043", "Okafor-Lind", "Tobias", "A"),
        student("0051", "Ruhl", "Seraphine", "B"),
    ]
}

/// For servers that may be gone at any moment.
impl Person {
    /// Somebody at a server of that address.
    pub fn at(address: &str) -> Self {
        let client = Client::builder()
            .no_proxy()
            .redirect(redirect::Policy::none())
            .build();
        Self {
            address: address.to_owned(),
            client: client.expect("a client"),
            cookie: None,
            browser: None,
            campus: None,
            form_token: None,
        }
    }

    /// Posts a form; none if no whole answer comes.
    pub async fn try_post(&mut self, path: &str, fields: &[(&str, &str)]) -> Option<Answer> {
        let asked = self.form(path, fields);
        self.try_send(asked).await
    }

    /// A page; none if no whole answer comes.
    pub async fn try_get(&mut self, path: &str) -> Option<Answer> {
        let asked = self.request(reqwest::Method::GET, path);
        self.try_send(asked).await
    }

    async fn try_send(&mut self, asked: reqwest::RequestBuilder) -> Option<Answer> {
        let response = asked.send().await.ok()?;
        let set = response
            .headers()
            .get(SET_COOKIE)
            .and_then(|set| set.to_str().ok());
        if let Some(pair) = set.and_then(|set| set.split(';').next()) {
            self.cookie = Some(pair.to_owned());
        }
        let (status, headers) = (response.status().as_u16(), response.headers().clone());
        let body = response.text().await.ok()?;
        Some(Answer {
            status,
            headers,
            bytes: body.clone().into_bytes(),
            body,
        })
    }
}
