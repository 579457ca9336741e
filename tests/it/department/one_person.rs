//! A student of one course who is on the staff of another: one person with one login once whoever runs the department says
//! so, who gets in each course what its lists give, and no more.

use std::sync::Arc;

use concordant::changes::SetRelease;
use concordant::desk::accounts::By;
use concordant::desk::department::Looked;
use concordant::desk::outgoing::Outgoing;
use concordant::desk::{Retirement, retire};
use concordant::ids::{CourseKey, StudentId};
use serde_json::json;

use super::journeys::verified;
use super::{HEAD, TestDepartment};
use crate::access::{self, Open};
use crate::app::{Answer, PASSWORD, Person};
use crate::lti::launched;
use crate::lti::platform::{CLAIM, Platform};
use crate::week;

/// Tobias, a student of alpha, whose way in as a student is another than that of staff.
const AS_STUDENT: &str = "violet gravel under seven lamps";
const ONE: [(&str, &str); 2] = [("number", "0043"), ("login", "k.holm")];

async fn tobias(app: &TestDepartment) -> Person {
    let code = app.code_for("0043").await;
    let mut tobias = app.stranger();
    let fields = [
        ("login", "0043"),
        ("code", code.as_str()),
        ("password", AS_STUDENT),
        ("repeat", AS_STUDENT),
    ];
    assert_eq!(tobias.post_open("/claim", &fields).await.status, 303);
    tobias
}

async fn join(head: &mut Person, one: [(&str, &str); 2]) -> Answer {
    let looked = head.post_form("/people", &one).await;
    assert_eq!(looked.status, 200, "{}", looked.body);
    assert!(
        looked.body.contains("Are they one person?"),
        "{}",
        looked.body
    );
    let [number, login] = one;
    let sure = [number, login, ("sure", "yes")];
    head.post_form("/people", &sure).await
}

async fn joined(app: &TestDepartment) -> Person {
    let mut head = app.person(HEAD).await;
    let said = join(&mut head, ONE).await;
    assert_eq!(said.location(), "/people?said=joined", "{}", said.body);
    head
}

async fn signed_in(app: &TestDepartment, login: &str, password: &str) -> (Person, u16) {
    let mut person = app.stranger();
    let fields = [("login", login), ("password", password)];
    let answer = person.post_open("/sign-in", &fields).await;
    (person, answer.status)
}

#[tokio::test]
async fn one_login_opens_what_each_course_gives() {
    let app = TestDepartment::spawn().await;
    let (mut kim, mut before) = (app.person("k.holm").await, tobias(&app).await);
    assert_eq!(before.get("/c/beta/review").await.status, 403);
    assert_eq!(kim.get("/c/alpha/student").await.status, 403);
    let mut head = app.person(HEAD).await;
    let looked = head.post_form("/people", &ONE).await.body;
    for words in ["Tobias Okafor-Lind", "Kim Holm", "Quantitative", "Water"] {
        assert!(looked.contains(words), "{words}: {looked}");
    }
    // looking says nothing yet
    assert_eq!(kim.get("/c/alpha/student").await.status, 403);
    assert_eq!(before.get("/c/alpha/student").await.status, 200);
    assert_eq!(join(&mut head, ONE).await.status, 303);
    // what let the student in lets nobody in any more
    assert_ne!(before.get("/c/alpha/student").await.status, 200);
    for login in ["0043", "k.holm"] {
        assert_eq!(signed_in(&app, login, AS_STUDENT).await.1, 422, "{login}");
    }
    for login in ["0043", "k.holm"] {
        let (mut again, status) = signed_in(&app, login, PASSWORD).await;
        assert_eq!(status, 303, "{login}");
        assert_eq!(again.get("/c/alpha/student").await.status, 200);
    }
    let list = kim.get("/courses").await.body;
    for words in [
        "href=\"/c/alpha/\"",
        "a student of section A",
        "href=\"/c/beta/\"",
        "an assistant of C",
    ] {
        assert!(list.contains(words), "{words}: {list}");
    }
    // hands in as a student, and reviews as staff
    let form = week::acid_form("0123456789abcdef0123456789abcdef", "0", "20.40", "20.52");
    let path = "/c/alpha/student/experiments/acid/hand-in";
    let handed_in = kim.post_form(path, &form).await;
    assert_eq!(handed_in.status, 303, "{}", handed_in.body);
    assert_eq!(kim.get(handed_in.location()).await.status, 200);
    let decided = [("ruling", "accept"), ("reason", "looks well")];
    let own = kim
        .post_form("/c/alpha/review/acid/0043/decide", &decided)
        .await;
    assert_eq!(own.status, 403);
    let mut noor = app.person("0077").await;
    let form = week::acid_form("1123456789abcdef0123456789abcdef", "0", "20.40", "20.52");
    let path = "/c/beta/student/experiments/acid/hand-in";
    assert_eq!(noor.post_form(path, &form).await.status, 303);
    let reviewed = kim.get("/c/beta/review/acid/0077").await;
    assert_eq!(reviewed.status, 200);
    let path = "/c/beta/student/experiments/acid/hand-in";
    assert_eq!(kim.post_form(path, &form).await.status, 403);
    verified(&app.folder.join("people.db"));
}

/// The access matrix once more, for somebody with a role in each course.
#[tokio::test]
async fn no_cell_leaks_to_somebody_of_two_roles() {
    let app = TestDepartment::spawn().await;
    let mut kim = app.person("k.holm").await;
    joined(&app).await;
    let (mut closed, mut open) = (0, 0);
    for (route, path, who) in access::pages() {
        if path.contains("/live") {
            continue;
        }
        let (in_alpha, in_beta) = match who {
            Open::All | Open::SignedIn | Open::Nobody => continue,
            Open::Student => (true, false),
            // 0042, whose pages are asked for, is of her section in beta
            Open::SectionA | Open::Staff | Open::EveryStaff => (false, true),
            Open::Coordinator | Open::Prep => (false, false),
        };
        for (course, may) in [("alpha", in_alpha), ("beta", in_beta)] {
            let answer = kim.get(&format!("/c/{course}{path}")).await;
            let at = format!("{course} {route}: {}", answer.status);
            match may {
                true => open += usize::from(answer.status == 200),
                false => {
                    assert!([403, 404].contains(&answer.status), "{at}");
                    closed += 1;
                }
            }
            if course == "alpha" {
                for secret in ["0.20371", "0.20963", "91.477", "Fennimore"] {
                    assert!(!answer.body.contains(secret), "{at}: {secret}");
                }
            }
        }
    }
    assert!(closed > 80 && open > 10, "{closed} {open}");
}

#[tokio::test]
async fn what_staff_must_holds_for_all_that_they_do() {
    let app = TestDepartment::spawn().await;
    let (mut kim, mut quell) = (app.person("k.holm").await, app.person("i.quell").await);
    let (mut tarn, mut head) = (app.person("b.tarn").await, app.person(HEAD).await);
    // who coordinates a course says nothing of it
    for path in ["/people", "/people/part", "/people/code"] {
        let one = [ONE[0], ONE[1], ("sure", "yes")];
        assert_eq!(quell.post_form(path, &one).await.status, 403, "{path}");
        assert_eq!(tarn.post_form(path, &one).await.status, 403, "{path}");
    }
    assert_eq!(quell.get("/people").await.status, 403);
    // a first slip of the student, which lies somewhere
    let slip = [("login", "0043")];
    let given = quell.post_form("/c/alpha/course/slips", &slip).await.body;
    assert_eq!(join(&mut head, ONE).await.status, 303);
    let code = given.split("<dt>Code</dt><dd class=\"code\">").nth(1);
    let code = code
        .and_then(|rest| rest.split('<').next())
        .expect("a code");
    let fields = [
        ("login", "0043"),
        ("code", code),
        ("password", AS_STUDENT),
        ("repeat", AS_STUDENT),
    ];
    let late = app.stranger().post_open("/claim", &fields).await;
    assert_eq!(late.status, 422, "{}", late.body);
    // neither coordinator has all of their courses
    for (course, login) in [("alpha", "0043"), ("beta", "k.holm"), ("beta", "0043")] {
        let person = match course {
            "alpha" => &mut quell,
            _ => &mut tarn,
        };
        for form in ["slips", "codes"] {
            let path = format!("/c/{course}/course/{form}");
            let refused = person.post_form(&path, &[("login", login)]).await;
            assert_eq!(refused.status, 422, "{path} {login}: {}", refused.body);
        }
    }
    // on the staff of the course too, they are a student there and nothing more
    let fields = [
        ("login", "k.holm"),
        ("name", "Kim Holm"),
        ("role", "coordinator"),
    ];
    let named = quell.post_form("/c/alpha/course/staff", &fields).await;
    assert_eq!(named.status, 303, "{}", named.body);
    assert_eq!(kim.get("/c/alpha/course").await.status, 403);
    assert_eq!(kim.get("/c/alpha/student").await.status, 200);
    // a second step for staff is one for the student as well
    let asked = [("required", "yes")];
    let asked = head.post_form("/course/second-step", &asked).await;
    assert_eq!(asked.status, 303, "{}", asked.body);
    for path in ["/c/alpha/student", "/c/beta/review", "/courses"] {
        assert_eq!(kim.get(path).await.location(), "/second-step", "{path}");
    }
    // signed out by a coordinator of either
    let out = [("who", "0043")];
    let ended = quell.post_form("/c/alpha/course/access", &out).await;
    assert_eq!(ended.status, 303, "{}", ended.body);
    assert_ne!(kim.get("/c/alpha/student").await.status, 200);
    verified(&app.folder.join("people.db"));
}

#[tokio::test]
async fn who_cannot_be_one_is_refused() {
    let app = TestDepartment::spawn().await;
    let mut head = joined(&app).await;
    for (number, login, words) in [
        ("9999", "b.tarn", "expected the number of a student"),
        ("0051", "nobody", "expected a login of the staff"),
        ("0051", "b.tarn", "nobody is both in one"),
        ("0043", "b.tarn", "nobody is both in one"),
        ("0077", "i.quell", ""),
        ("0051", "k.holm", "is the student 0043 already"),
        ("", "k.holm", "expected"),
    ] {
        let one = [("number", number), ("login", login)];
        let answer = head.post_form("/people", &one).await;
        let status = if words.is_empty() { 200 } else { 422 };
        assert_eq!(answer.status, status, "{number} {login}");
        assert!(answer.body.contains(words), "{words}: {}", answer.body);
        let sure = [one[0], one[1], ("sure", "yes")];
        if status == 422 {
            assert_eq!(head.post_form("/people", &sure).await.status, 422);
        }
    }
    let unknown = head.post_form("/people/part", &[("login", "b.tarn")]).await;
    assert_eq!(unknown.status, 422);
    let unknown = head.post_form("/people/code", &[("login", "b.tarn")]).await;
    assert_eq!(unknown.status, 422);
}

/// Two people again: each has what was theirs, and is given a way in anew.
#[tokio::test]
async fn they_can_be_two_again() {
    let app = TestDepartment::spawn().await;
    let (mut kim, _) = (app.person("k.holm").await, tobias(&app).await);
    let mut head = joined(&app).await;
    assert_eq!(kim.get("/c/alpha/student").await.status, 200);
    let parted = head.post_form("/people/part", &[("login", "k.holm")]).await;
    assert_eq!(parted.location(), "/people?said=parted", "{}", parted.body);
    // what let in the one may be either's
    assert_ne!(kim.get("/c/beta/review").await.status, 200);
    for (login, password) in [
        ("0043", AS_STUDENT),
        ("0043", PASSWORD),
        ("k.holm", PASSWORD),
    ] {
        assert_eq!(signed_in(&app, login, password).await.1, 422, "{login}");
    }
    verified(&app.folder.join("people.db"));
    let mut kim = app.person("k.holm").await;
    assert_eq!(kim.get("/c/alpha/student").await.status, 403);
    assert_eq!(kim.get("/c/beta/review").await.status, 200);
    let mut tobias = tobias(&app).await;
    assert_eq!(tobias.get("/c/alpha/student").await.status, 200);
    assert_eq!(tobias.get("/c/beta/review").await.status, 403);
    verified(&app.folder.join("people.db"));
}

/// A student number on the staff list of another course is nobody there, until it is said that it is the same person.
#[tokio::test]
async fn the_same_text_is_one_person_when_it_is_said() {
    let app = TestDepartment::spawn().await;
    let mut tobias = tobias(&app).await;
    let (mut tarn, mut head) = (app.person("b.tarn").await, app.person(HEAD).await);
    let fields = [
        ("login", "0043"),
        ("name", "T. Okafor-Lind"),
        ("role", "assistant"),
        ("sections[]", "C"),
    ];
    let named = tarn.post_form("/c/beta/course/staff", &fields).await;
    assert_eq!(named.status, 303, "{}", named.body);
    assert_eq!(tobias.get("/c/beta/review").await.status, 403);
    assert_eq!(tobias.get("/c/alpha/student").await.status, 200);
    let page = head.get("/people").await.body;
    assert!(
        page.contains("only one of the two can sign in: 0043"),
        "{page}"
    );
    let said = join(&mut head, [("number", "0043"), ("login", "0043")]).await;
    assert_eq!(said.status, 303, "{}", said.body);
    assert!(
        !head
            .get("/people")
            .await
            .body
            .contains("only one of the two")
    );
    // whoever says so gives the code
    let slip = head.post_form("/people/code", &[("login", "0043")]).await;
    let code = slip.body.split("<dt>Code</dt><dd class=\"code\">").nth(1);
    let code = code
        .and_then(|rest| rest.split('<').next())
        .expect("a code");
    let mut both = app.stranger().claimed("0043", code).await;
    assert_eq!(both.get("/c/alpha/student").await.status, 200);
    assert_eq!(both.get("/c/beta/review").await.status, 200);
    assert_eq!(both.get("/c/alpha/review").await.status, 403);
    // on the staff no more, the password goes on letting the student in, and nobody else
    let off = [("login", "0043")];
    let off = tarn.post_form("/c/beta/course/staff/remove", &off).await;
    assert_eq!(off.status, 303, "{}", off.body);
    let (mut after, status) = signed_in(&app, "0043", PASSWORD).await;
    assert_eq!(status, 303);
    assert_eq!(after.get("/c/alpha/student").await.status, 200);
    assert_eq!(after.get("/c/beta/review").await.status, 403);
    verified(&app.folder.join("people.db"));
    // and the staff list of another course makes them nothing again by itself
    let named = tarn.post_form("/c/beta/course/staff", &fields).await;
    assert_eq!(named.status, 303);
    assert_eq!(after.get("/c/beta/review").await.status, 403);
    let stays = app.stop();
    let again = TestDepartment::serve(&stays.1, "", 4).await;
    let (mut after, status) = signed_in(&again, "0043", PASSWORD).await;
    assert_eq!(status, 303);
    assert_eq!(after.get("/c/beta/review").await.status, 403);
}

async fn as_somebody(
    app: &TestDepartment,
    platform: &Platform,
    claims: serde_json::Value,
) -> (Person, Answer) {
    platform.tell(|told| {
        for (name, value) in claims.as_object().expect("claims") {
            told.claims.insert(name.clone(), value.clone());
        }
    });
    let mut person = app.stranger();
    let answer = launched(&mut person, platform).await;
    (person, answer)
}

#[tokio::test]
async fn a_launch_goes_by_the_same_rule() {
    let app = TestDepartment::spawn().await;
    let platform = Platform::spawn(app.clock.now().as_second()).await;
    platform.tell(|told| told.tool = app.address.clone());
    let mut head = app.person(HEAD).await;
    let fields = platform.registration("sourced-id");
    let fields: Vec<(&str, &str)> = fields
        .iter()
        .map(|(n, v)| (n.as_str(), v.as_str()))
        .collect();
    assert_eq!(head.post_form("/course/lti", &fields).await.status, 303);
    let named = |sub: &str, name: &str| json!({ "sub": sub, (format!("{CLAIM}lis")): { "person_sourcedid": name } });
    let (mut quell, _) = as_somebody(&app, &platform, named("t-1", "i.quell")).await;
    let own = quell.get("/c/alpha/course/platform").await.body;
    let context = own
        .split("name=\"context\" value=\"")
        .nth(1)
        .expect("a course");
    let context = context.split('"').next().expect("its name");
    let taken = quell
        .post_form("/c/alpha/course/platform/take", &[("context", context)])
        .await;
    assert_eq!(taken.status, 303, "{}", taken.body);
    // known as a student first
    let (mut tobias, _) = as_somebody(&app, &platform, named("u-43", "0043")).await;
    assert_eq!(tobias.get("/c/alpha/student").await.status, 200);
    assert_eq!(join(&mut head, ONE).await.status, 303);
    // named as somebody else, that link opens nothing of staff
    let (_, other) = as_somebody(&app, &platform, named("u-43", "0042")).await;
    assert_eq!(other.status, 403, "{}", other.body);
    let (mut both, came) = as_somebody(&app, &platform, named("u-43", "0043")).await;
    assert_eq!(came.location(), "/c/alpha/", "{}", came.body);
    assert_eq!(both.get("/c/alpha/student").await.status, 200);
    assert_eq!(both.get("/c/beta/review").await.status, 200);
    assert_eq!(both.get("/c/alpha/review").await.status, 403);
    // and the grade of the student goes back for whom the platform calls so
    let form = week::acid_form("0123456789abcdef0123456789abcdef", "0", "20.40", "20.52");
    let path = "/c/alpha/student/experiments/acid/hand-in";
    assert_eq!(both.post_form(path, &form).await.status, 303);
    let on = [("wanted", "yes")];
    let turned = quell
        .post_form("/c/alpha/course/platform/grades", &on)
        .await;
    assert_eq!(turned.status, 303, "{}", turned.body);
    let desk = app
        .department
        .desk(&CourseKey::new("alpha"))
        .await
        .expect("reads");
    let desk = desk.expect("a course");
    let out = SetRelease {
        experiment: crate::key("acid"),
        section: None,
        released_at: Some(app.clock.now()),
    };
    let made = desk.apply(vec![out.into()], "test", app.clock.now()).await;
    made.expect("out");
    desk.close().await;
    let grades = Outgoing::Grades(Arc::default());
    let mut looked = Looked::default();
    let passed = app
        .department
        .send(&mut looked, &grades, app.clock.now())
        .await;
    assert_eq!(passed.expect("gone through").sent, 1);
    platform.tell(|told| assert_eq!(told.services.scores[0].1["userId"], "u-43"));
    // two people again, whom the platform knows leads to the student alone
    let parted = head.post_form("/people/part", &[("login", "k.holm")]).await;
    assert_eq!(parted.status, 303, "{}", parted.body);
    assert_ne!(both.get("/c/beta/review").await.status, 200);
    let (mut tobias, _) = as_somebody(&app, &platform, named("u-43", "0043")).await;
    assert_eq!(tobias.get("/c/alpha/student").await.status, 200);
    assert_eq!(tobias.get("/c/beta/review").await.status, 403);
}

/// An address is what the roster of one course says: whoever keeps it cannot come in as staff of another by it.
#[tokio::test]
async fn an_address_lets_nobody_in_who_is_of_staff() {
    let app = TestDepartment::spawn().await;
    let platform = Platform::spawn(app.clock.now().as_second()).await;
    platform.tell(|told| told.tool = app.address.clone());
    let (mut head, mut quell) = (app.person(HEAD).await, app.person("i.quell").await);
    let fields = platform.registration("email");
    let fields: Vec<(&str, &str)> = fields
        .iter()
        .map(|(n, v)| (n.as_str(), v.as_str()))
        .collect();
    assert_eq!(head.post_form("/course/lti", &fields).await.status, 303);
    let student = [
        ("student_id", "0043"),
        ("family_name", "Okafor-Lind"),
        ("given_name", "Tobias"),
        ("section", "A"),
        ("email", "somebody@example.edu"),
    ];
    let entered = quell
        .post_form("/c/alpha/course/roster/student", &student)
        .await;
    assert_eq!(entered.status, 303, "{}", entered.body);
    let by_address = json!({ "sub": "u-43", "email": "somebody@example.edu" });
    let (mut tobias, _) = as_somebody(&app, &platform, by_address.clone()).await;
    assert_eq!(tobias.get("/c/alpha/student").await.status, 200);
    assert_eq!(join(&mut head, ONE).await.status, 303);
    assert_ne!(tobias.get("/c/alpha/student").await.status, 200);
    let (_, refused) = as_somebody(&app, &platform, by_address).await;
    assert_eq!(refused.status, 403, "{}", refused.body);
}

/// Two names are no two rows of tries, and whoever was taken out as a student is staff and nothing else.
#[tokio::test]
async fn two_names_have_the_tries_of_one() {
    let app = TestDepartment::spawn().await;
    let mut kim = app.person("k.holm").await;
    joined(&app).await;
    for login in ["0043", "k.holm", "0043", "k.holm", "0043"] {
        assert_eq!(signed_in(&app, login, AS_STUDENT).await.1, 422, "{login}");
    }
    for login in ["0043", "k.holm"] {
        assert_eq!(signed_in(&app, login, PASSWORD).await.1, 429, "{login}");
    }
    assert_eq!(kim.get("/c/alpha/student").await.status, 200);
    let asked = Retirement {
        before: "2199-01-01".parse().expect("a day"),
        students: vec![StudentId::new("0043")],
        texts_only: false,
    };
    let now = app.clock.now();
    let gone = retire(app.department.people(), &asked, By::COMMAND_LINE, now).await;
    assert_eq!(gone.expect("taken out").len(), 1);
    assert_eq!(kim.get("/c/alpha/student").await.status, 403);
    assert_eq!(kim.get("/c/beta/review").await.status, 200);
    verified(&app.folder.join("people.db"));
}
