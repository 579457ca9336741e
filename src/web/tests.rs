//! The layers and extractors around pages made for the purpose.

use std::sync::Arc;

use axum::Router;
use axum::body::Body;
use axum::http::{Request, StatusCode};
use axum::response::Response;
use axum::routing::{get, post};
use http_body_util::BodyExt;
use tower::ServiceExt;

use super::*;
use crate::changes::Change;
use crate::course::{StaffMember, StaffRole, Student};
use crate::desk::Desk;
use crate::desk::accounts::{AccountId, Kind};
use crate::desk::sessions::{Token, begin_session};
use crate::store::Store;

struct Site {
    router: Router,
    state: AppState,
}

impl Site {
    async fn new() -> Self {
        let store = Store::passing().await.expect("a database");
        let staff = |login: &str, role| {
            Change::Staff(StaffMember {
                login: login.into(),
                name: login.into(),
                role,
                sections: vec![crate::ids::SectionName::new("A")],
            })
        };
        let student = Student {
            id: crate::ids::StudentId::new("0042"),
            family_name: "Fennimore".into(),
            given_name: "Ada".into(),
            section: crate::ids::SectionName::new("A"),
            email: String::new(),
            sourced_id: String::new(),
            left: None,
        };
        let people = [
            staff("quell", StaffRole::Coordinator),
            staff("tarn", StaffRole::Assistant),
            Change::Student(student),
        ];
        let clock = Clock::default();
        let desk = Arc::new(Desk::open(store).await.expect("a desk"));
        let people = desk.apply(people.to_vec(), "test", clock.now()).await;
        people.expect("people");
        let state = AppState::new(desk, Settings::default());
        let pages = Router::new()
            .route(
                "/panics",
                get(|| async { panic!("the secret is 18.40") as &'static str }),
            )
            .route(
                "/fails",
                get(|| async { Err::<(), _>(PageError::internal("table x\nis gone")) }),
            )
            .route(
                "/number/{n}",
                get(|n: axum::extract::Path<u32>| async move { n.to_string() }),
            )
            .route(
                "/upload",
                post(|upload: Upload| async move {
                    let file = upload
                        .file
                        .map(|f| format!("{} {} {}", f.field, f.name, f.bytes.len()));
                    format!("{:?} {:?}", file, upload.fields.one("reason"))
                }),
            )
            .route(
                "/s",
                get(|v: StudentVisitor| async move { format!("{} {}", v.id, v.section) }),
            )
            .route(
                "/a",
                get(|v: AssistantVisitor| async move {
                    format!("{} {} {}", v.login, v.sees("A"), v.sees("B"))
                }),
            )
            .route("/c", get(|v: CoordinatorVisitor| async move { v.login }));
        let router = around(pages, state.clone());
        Self { router, state }
    }

    async fn session(&self, kind: Kind, login: &str) -> Token {
        let id = AccountId {
            kind,
            login: login.into(),
        };
        let at = self.state.clock.now();
        let mut transaction = self.state.store().write().await.expect("a write");
        let account = transaction.accounts().keep_account(&id, at).await;
        account.expect("an account");
        let token = begin_session(&mut transaction, &id, at)
            .await
            .expect("a session");
        transaction.commit().await.expect("a commit");
        token
    }

    async fn ask(&self, request: Request<Body>) -> (StatusCode, String) {
        let response: Response = self
            .router
            .clone()
            .oneshot(request)
            .await
            .expect("an answer");
        let status = response.status();
        let bytes = response
            .into_body()
            .collect()
            .await
            .expect("a body")
            .to_bytes();
        (status, String::from_utf8(bytes.to_vec()).expect("text"))
    }

    async fn get(&self, path: &str, token: Option<&Token>) -> (StatusCode, String) {
        let mut request = Request::get(path);
        if let Some(token) = token {
            request = request.header("cookie", format!("concordant={}", token.as_str()));
        }
        self.ask(request.body(Body::empty()).expect("a request"))
            .await
    }

    async fn upload(&self, token: &Token, parts: &[(&str, &[u8])]) -> (StatusCode, String) {
        let mut body = Vec::new();
        for (disposition, content) in parts {
            body.extend_from_slice(
                format!("--x\r\nContent-Disposition: form-data; {disposition}\r\n\r\n").as_bytes(),
            );
            body.extend_from_slice(content);
            body.extend_from_slice(b"\r\n");
        }
        body.extend_from_slice(b"--x--\r\n");
        let request = Request::post("/upload")
            .header("cookie", format!("concordant={}", token.as_str()))
            .header("content-type", "multipart/form-data; boundary=x")
            .body(Body::from(body))
            .expect("a request");
        self.ask(request).await
    }
}

#[tokio::test]
async fn each_kind_of_visitor_comes_only_where_they_may() {
    let site = Site::new().await;
    let student = site.session(Kind::Student, "0042").await;
    let assistant = site.session(Kind::Staff, "tarn").await;
    let coordinator = site.session(Kind::Staff, "quell").await;
    let no = None;
    for (path, expected) in [
        ("/s", [Some("0042 A"), no, no]),
        ("/a", [no, Some("tarn true false"), Some("quell true true")]),
        ("/c", [no, no, Some("quell")]),
    ] {
        assert_eq!(
            site.get(path, None).await.0,
            StatusCode::SEE_OTHER,
            "{path}"
        );
        for (token, expected) in [&student, &assistant, &coordinator]
            .into_iter()
            .zip(expected)
        {
            let (status, body) = site.get(path, Some(token)).await;
            match expected {
                Some(text) => assert_eq!((status, body.as_str()), (StatusCode::OK, text)),
                None => {
                    assert_eq!(status, StatusCode::FORBIDDEN, "{path}");
                    assert!(body.contains("<h1>Not open to you</h1>"), "{body}");
                }
            }
        }
    }
}

#[tokio::test]
async fn somebody_taken_off_every_list_has_no_session() {
    let site = Site::new().await;
    let gone = site.session(Kind::Staff, "0042").await;
    assert_eq!(site.get("/s", Some(&gone)).await.0, StatusCode::SEE_OTHER);
}

#[tokio::test]
async fn faults_of_ours_show_a_number_and_nothing_else() {
    let site = Site::new().await;
    for path in ["/panics", "/fails"] {
        let (status, body) = site.get(path, None).await;
        assert_eq!(status, StatusCode::INTERNAL_SERVER_ERROR);
        assert!(
            body.contains("<h1>Something went wrong</h1>")
                && body.contains("tell the coordinator this number")
        );
        assert!(
            !body.contains("18.40") && !body.contains("table x"),
            "{body}"
        );
    }
}

#[tokio::test]
async fn what_axum_refuses_is_a_page_of_ours() {
    let site = Site::new().await;
    assert_eq!(
        site.get("/number/7", None).await,
        (StatusCode::OK, "7".to_owned())
    );
    let (status, body) = site.get("/number/seven", None).await;
    assert_eq!(status, StatusCode::BAD_REQUEST);
    assert!(
        body.contains("<h1>Not understood</h1>") && !body.contains("u32"),
        "{body}"
    );
}

#[tokio::test]
async fn an_upload_is_a_form_with_at_most_one_file_of_bounded_size() {
    let site = Site::new().await;
    let token = site.session(Kind::Staff, "quell").await;
    let form_token = token.form_token();
    let csrf = ("name=\"csrf\"", form_token.as_bytes());
    let file: (&str, &[u8]) = (
        "name=\"roster\"; filename=\"roster.csv\"",
        b"student_id\n0042\n",
    );
    let reason: (&str, &[u8]) = ("name=\"reason\"", "für später".as_bytes());
    let none: (&str, &[u8]) = ("name=\"roster\"; filename=\"\"", b"");
    let big = vec![b'x'; upload::MOST_FILE_BYTES + 1];
    let big = ("name=\"roster\"; filename=\"big.csv\"", big.as_slice());

    let (status, body) = site.upload(&token, &[csrf, file, reason]).await;
    assert_eq!(status, StatusCode::OK);
    assert_eq!(body, "Some(\"roster roster.csv 16\") Some(\"für später\")");
    assert_eq!(site.upload(&token, &[csrf, none]).await.1, "None None");
    for (parts, expected, says) in [
        (
            &[csrf, big][..],
            StatusCode::PAYLOAD_TOO_LARGE,
            "larger than 10 MiB",
        ),
        (
            &[csrf, file, file],
            StatusCode::BAD_REQUEST,
            "More than one file",
        ),
        (
            &[csrf, reason, reason],
            StatusCode::BAD_REQUEST,
            "came more than once",
        ),
        (
            &[file],
            StatusCode::FORBIDDEN,
            "did not come from a page of the course",
        ),
        (
            &[csrf, ("name=\"reason\"", b"\xff")],
            StatusCode::BAD_REQUEST,
            "not UTF-8",
        ),
    ] {
        let (status, body) = site.upload(&token, parts).await;
        assert_eq!(status, expected, "{says}");
        assert!(body.contains(says), "{body}");
    }
}
