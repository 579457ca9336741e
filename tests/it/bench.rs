//! The bench over HTTP: what it weighs, labels that open it, readings carried on, how often one may hand in.

use concordant::changes::{Change, RemoveStaff};
use concordant::desk::{MOST_HAND_INS, WITHIN, bring_in, release};
use concordant::files::Folder;
use jiff::SignedDuration;
use reqwest::Method;

use crate::app::Person;
use crate::week::{self, acid_form};

const BENCH: &str = "/student/experiments/acid/bench";
const HAND_IN: &str = "/student/experiments/acid/hand-in";
/// Most bytes of the bench form with everything it loads, as they are transferred.
const MOST_BYTES: usize = 30_000;

/// A page as a browser takes it, compressed: what came, and how many bytes of body and headers.
async fn transferred(person: &mut Person, path: &str) -> (String, usize) {
    let request = person
        .request(Method::GET, path)
        .header("accept-encoding", "gzip");
    let answer = person.send(request).await;
    assert_eq!(answer.status, 200, "{path}");
    assert_eq!(answer.header("content-encoding"), "gzip", "{path}");
    let headers = answer.headers.iter();
    let headers: usize = headers
        .map(|(name, value)| name.as_str().len() + value.len() + 4)
        .sum();
    (answer.body, answer.bytes.len() + headers)
}

/// Every address that a page or a stylesheet names, but for links and forms.
fn loaded(page: &str) -> Vec<String> {
    let tags = page.split('<').filter(|tag| {
        [
            "link ", "script ", "img ", "source ", "iframe ", "object ", "image ", "use ",
        ]
        .iter()
        .any(|name| tag.starts_with(name))
    });
    let address = |tag: &str| {
        let from = ["href=\"", "src=\""]
            .iter()
            .find_map(|key| tag.split(key).nth(1))?;
        from.split('"').next().map(str::to_owned)
    };
    tags.filter_map(address).collect()
}

/// The whole bench form, everything included, fits a bad connection; and nothing of it comes from elsewhere.
#[tokio::test]
async fn the_bench_form_weighs_little_and_loads_nothing_from_elsewhere() {
    let app = week::app().await;
    let mut student = app.person("0042").await;
    for path in [BENCH, "/student/experiments/shell/bench"] {
        let page = student.get(path).await.body;
        let addresses = loaded(&page);
        assert!(addresses.len() >= 4, "{addresses:?}");
        let (_, mut bytes) = transferred(&mut student, path).await;
        for address in addresses {
            assert!(address.starts_with("/static/"), "{address} is not ours");
            bytes += transferred(&mut student, &address).await.1;
            let file = address.split('?').next().unwrap_or_default();
            let text = student.get(file).await.body;
            for elsewhere in ["http:", "https:", "@import", "@font-face", "//cdn"] {
                let named = text.replace("http://www.w3.org", "").contains(elsewhere);
                assert!(!named, "{file} names {elsewhere}");
            }
        }
        assert!(
            !page.contains("<math") && !page.contains("style=\""),
            "{path}"
        );
        println!("{path}: {bytes} bytes transferred");
        assert!(bytes <= MOST_BYTES, "{path}: {bytes} bytes");
        assert!(
            bytes > 5_000,
            "{path}: {bytes} bytes is too little to be all of it"
        );
    }
}

#[tokio::test]
async fn a_label_opens_the_form_of_its_experiment() {
    let app = week::app().await;
    let mut folder = Folder::default();
    for (path, bytes) in week::folder().files() {
        let mut text = String::from_utf8(bytes.to_vec()).expect("is text");
        if path == "unknowns.csv" {
            // a code that two open experiments have, one of an experiment that is not open, and one with a blank
            text.push_str(
                "shell,U-2,90.1,0.1\nlater,L-1,0.2111,0.0002\nacid,B 7/2,0.2044,0.0002\n",
            );
        }
        folder.insert(path, text.into_bytes()).expect("room");
    }
    bring_in(&app.desk, &folder, "test", app.clock.now())
        .await
        .expect("imported");
    let asked = app.stranger().get("/student/bottle/U-1").await;
    assert_eq!(asked.location(), "/sign-in?next=%2Fstudent%2Fbottle%2FU-1");
    let mut student = app.person("0042").await;
    for (path, to) in [
        (
            "/student/bottle/u-1",
            "/student/experiments/acid/bench?unknown=U-1",
        ),
        (
            "/student/bottle/acid/U-2",
            "/student/experiments/acid/bench?unknown=U-2",
        ),
        (
            "/student/bottle/shell/U-2",
            "/student/experiments/shell/bench?unknown=U-2",
        ),
        (
            "/student/bottle/B%207%2F2",
            "/student/experiments/acid/bench?unknown=B+7%2F2",
        ),
    ] {
        let answer = student.get(path).await;
        assert_eq!((answer.status, answer.location()), (303, to), "{path}");
    }
    let form = student
        .get("/student/experiments/acid/bench?unknown=B+7%2F2")
        .await;
    assert!(form.body.contains("name=\"unknown\"") && form.body.contains("value=\"B 7/2\""));
    let choice = student.get("/student/bottle/U-2").await;
    assert_eq!(choice.status, 200);
    assert!(
        choice.body.contains("Acid in a plain solution")
            && choice.body.contains("shell/bench?unknown=U-2")
    );
    // not open, not there, another experiment's: one answer
    for path in [
        "/student/bottle/L-1",
        "/student/bottle/Z-9",
        "/student/bottle/acid/S-1",
        "/student/bottle/none/U-1",
    ] {
        let answer = student.get(path).await;
        assert_eq!(answer.status, 404, "{path}");
        assert!(
            answer
                .body
                .contains("No experiment that is open to you has a bottle with the code"),
            "{}",
            answer.body
        );
    }
    release(&app.desk, &crate::key("acid"), ("i.quell", app.clock.now()))
        .await
        .expect("released");
    assert_eq!(student.get("/student/bottle/U-1").await.status, 404);
}

#[tokio::test]
async fn a_trial_starts_where_the_one_before_ended() {
    let app = week::app().await;
    let mut student = app.person("0042").await;
    let mut fields = acid_form("0123456789abcdef", "0", "20,40", "");
    fields.retain(|(name, _)| *name != "2.burette_start_mL");
    fields.push(("action", "carry:2"));
    let carried = student.post_form(BENCH, &fields).await;
    assert_eq!(carried.status, 200);
    assert!(carried.body.contains("name=\"2.burette_start_mL\" type=\"text\" inputmode=\"decimal\" enterkeyhint=\"next\" autocomplete=\"off\" value=\"20,40\""), "{}", carried.body);
    // of a refilled burette, where the last filling ended
    fields.extend([
        ("1.burette_start_2_mL", "0.00"),
        ("1.burette_end_2_mL", "3.30"),
    ]);
    let carried = student.post_form(BENCH, &fields).await;
    assert!(
        carried.body.contains("autocomplete=\"off\" value=\"3.30\""),
        "{}",
        carried.body
    );
    fields.retain(|(name, _)| !name.starts_with("1."));
    let nothing = student.post_form(BENCH, &fields).await;
    assert!(
        nothing
            .body
            .contains("found no end reading in trial 1, expected one to start from"),
        "{}",
        nothing.body
    );
}

/// More hand-ins than a person makes wait, with everything typed still there; and the wait ends.
#[tokio::test]
async fn a_student_who_hands_in_again_and_again_waits() {
    let app = week::app().await;
    let mut student = app.person("0042").await;
    for n in 0..MOST_HAND_INS {
        let (key, seen) = (format!("{n:032x}"), n.to_string());
        let answer = student
            .post_form(HAND_IN, &acid_form(&key, &seen, "20.40", "20.48"))
            .await;
        assert_eq!(answer.status, 303, "{n}: {}", answer.body);
    }
    let seen = MOST_HAND_INS.to_string();
    let one_more = acid_form("fedcba9876543210", &seen, "20.40", "20.52");
    let refused = student.post_form(HAND_IN, &one_more).await;
    assert_eq!(refused.status, 429);
    assert!(
        refused.body.contains("value=\"20.52\"")
            && refused.body.contains("Everything you typed is still here"),
        "{}",
        refused.body
    );
    assert!(
        refused.body.contains("wait 10 minutes, then hand in again"),
        "{}",
        refused.body
    );
    let seconds: i64 = refused.header("retry-after").parse().expect("seconds");
    assert!((1..=WITHIN.as_secs() + 1).contains(&seconds));
    // a repeat of what was received is no hand-in, and another student does not wait
    let key = format!("{:032x}", MOST_HAND_INS - 1);
    let before = (MOST_HAND_INS - 1).to_string();
    let again = student
        .post_form(HAND_IN, &acid_form(&key, &before, "20.40", "20.48"))
        .await;
    assert_eq!(again.status, 303, "{}", again.body);
    let mut other = app.person("0043").await;
    let first = other
        .post_form(
            HAND_IN,
            &acid_form("abcdefabcdefabcdef", "0", "20.40", "20.48"),
        )
        .await;
    assert_eq!(first.status, 303, "{}", first.body);
    app.clock.put_forward(SignedDuration::from_secs(seconds));
    let late = student.post_form(HAND_IN, &one_more).await;
    assert_eq!(late.status, 303, "{}", late.body);
    let view = app.desk.view().await.expect("a course");
    assert_eq!(
        view.term
            .submissions
            .get(&crate::slot("acid", "0042"))
            .expect("is there")
            .len(),
        MOST_HAND_INS + 1
    );
}

/// A form kept over the sign-in page belongs to who filled it in.
#[tokio::test]
async fn a_form_of_another_student_is_not_taken() {
    let app = week::app().await;
    let mut student = app.person("0042").await;
    let page = student.get(BENCH).await.body;
    let owner = page
        .split("data-owner=\"")
        .nth(1)
        .and_then(|rest| rest.split('"').next())
        .expect("an owner")
        .to_owned();
    assert_eq!(owner.len(), 24);
    let mut fields = acid_form("0123456789abcdef", "0", "20.40", "20.48");
    fields.push(("owner", &owner));
    let mut other = app.person("0043").await;
    assert!(!other.get(BENCH).await.body.contains(&owner));
    for path in [BENCH, HAND_IN] {
        let refused = other.post_form(path, &fields).await;
        assert_eq!(refused.status, 403, "{path}");
        assert!(!refused.body.contains("20.48"), "{}", refused.body);
    }
    assert_eq!(student.post_form(HAND_IN, &fields).await.status, 303);
}

/// Somebody with an account can be taken off the staff list: what names the drafts of an account goes with it.
#[tokio::test]
async fn an_account_goes_with_the_name_of_its_drafts() {
    let app = week::app().await;
    let mut assistant = app.person("b.tarn").await;
    let gone = Change::RemoveStaff(RemoveStaff {
        login: "b.tarn".into(),
    });
    let done = app.desk.apply(vec![gone], "i.quell", app.clock.now()).await;
    done.expect("removed");
    assert_eq!(assistant.get("/review").await.status, 303, "signed out");
}
