//! What is kept outside the database shows whether it is as it was: receipts, records and seals.

use std::path::Path;
use std::process::{Command, Output};

use sha2::{Digest, Sha256};

use crate::week;

fn concordant(arguments: &[&str], db: &Path) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_concordant"));
    let (first, rest) = arguments.split_first().expect("a command");
    let done = command.arg(first).arg("--db").arg(db).args(rest).output();
    done.expect("runs")
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// The word after some words of a page.
fn mark_after(page: &str, words: &str) -> String {
    let rest = page.split(words).nth(1).expect(words);
    let rest = rest.split("class=\"code\">").nth(1).expect("a mark");
    rest.split('<').next().unwrap_or_default().to_owned()
}

#[tokio::test]
async fn a_receipt_shows_what_was_handed_in_and_pins_the_record() {
    let app = week::app().await;
    let mut student = app.person("0042").await;
    let form = week::acid_form("0123456789abcdef0123456789abcdef", "0", "20.40", "20.48");
    let answer = student
        .post_form("/student/experiments/acid/hand-in", &form)
        .await;
    assert_eq!(answer.status, 303, "{}", answer.body);
    let page = student.get(answer.location()).await.body;
    let digest = mark_after(&page, "What you handed in has the mark");
    let head = mark_after(&page, "The whole record up to it has the mark");
    assert!(
        head.len() > 65 && digest.starts_with('r'),
        "{head} {digest}"
    );
    let record = student.get("/student/record.json").await.body;
    let record: serde_json::Value = serde_json::from_str(&record).expect("is JSON");
    let receipt = &record["receipts"][0];
    assert_eq!(receipt["mark"], digest.as_str());
    assert_eq!(receipt["mark_of_the_record"], head.as_str());
    let text = receipt["sha256_of"].as_str().expect("a text");
    let hash: String = Sha256::digest(text)
        .iter()
        .map(|b| format!("{b:02x}"))
        .collect();
    assert!(digest.ends_with(&hash), "by hand");
    assert!(text.contains("20.40") && text.contains("0042"), "{text}");
}

#[tokio::test]
async fn a_seal_and_a_receipt_show_what_was_done_to_a_file() {
    let directory = tempfile::tempdir().expect("a directory");
    let at = |name: &str| directory.path().join(name).display().to_string();
    let db = directory.path().join("course.db");
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("seed-data/demo");
    let imported = concordant(&["import", &demo.display().to_string()], &db);
    assert!(imported.status.success(), "{}", said(&imported));
    let (key, seal) = (at("seal.key"), at("one.seal"));
    let sealed = concordant(&["seal", "--key", &key, "--out", &seal], &db);
    assert_eq!(sealed.status.code(), Some(1), "no key is made unasked");
    let sealed = concordant(&["seal", "--key", &key, "--new-key", "--out", &seal], &db);
    assert!(sealed.status.success(), "{}", said(&sealed));
    let told = String::from_utf8_lossy(&sealed.stdout).into_owned();
    let public = told
        .trim()
        .rsplit(' ')
        .next()
        .unwrap_or_default()
        .to_owned();
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        let mode = std::fs::metadata(&key).expect("a key").permissions().mode();
        assert_eq!(mode & 0o777, 0o600);
    }
    let verified = concordant(&["verify", "--public-key", &public, &seal], &db);
    assert!(verified.status.success(), "{}", said(&verified));
    // RFC 8032, section 7.1, test 1: a secret key and its public half
    let (known, of_known) = (at("known.key"), at("known.seal"));
    std::fs::write(
        &known,
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
    )
    .expect("written");
    let sealed = concordant(&["seal", "--key", &known, "--out", &of_known], &db);
    let public_half = "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a";
    let told_of_known = String::from_utf8_lossy(&sealed.stdout).into_owned();
    assert!(told_of_known.contains(public_half), "{}", said(&sealed));
    let verified = concordant(&["verify", "--public-key", public_half, &of_known], &db);
    assert!(verified.status.success(), "{}", said(&verified));
    let other = "0".repeat(64);
    let verified = concordant(&["verify", "--public-key", &other, &seal], &db);
    assert!(said(&verified).contains("expected the key of --public-key"));

    // a seal that was touched up
    let text = std::fs::read_to_string(&seal).expect("a seal");
    let touched = at("touched.seal");
    std::fs::write(&touched, text.replace("\nat 2", "\nat 1")).expect("written");
    let verified = concordant(&["verify", &touched], &db);
    assert_eq!(verified.status.code(), Some(1));
    assert!(
        said(&verified).contains("signature does not hold"),
        "{}",
        said(&verified)
    );

    // an older copy, whole in itself
    let older = at("older.db");
    let copied = concordant(&["backup", "--to", &older], &db);
    assert!(copied.status.success(), "{}", said(&copied));
    let added = Command::new(env!("CARGO_BIN_EXE_concordant"))
        .args(["add-coordinator", "--db"])
        .args([&db.display().to_string(), "n.ewt"])
        .output()
        .expect("runs");
    assert!(added.status.success(), "{}", said(&added));
    let newer = at("two.seal");
    let sealed = concordant(&["seal", "--key", &key, "--out", &newer], &db);
    assert!(sealed.status.success(), "{}", said(&sealed));
    let verified = concordant(&["verify", &seal, &newer], &db);
    assert!(verified.status.success(), "{}", said(&verified));
    let verified = concordant(&["verify", &seal, &newer], Path::new(&older));
    assert_eq!(verified.status.code(), Some(1));
    let what = said(&verified);
    assert!(
        what.contains("found none, expected the one kept in"),
        "{what}"
    );
    assert!(what.contains("the record is as it was"), "{what}");

    // the mark by itself, as it stands on a receipt
    let head = text.lines().find_map(|line| line.strip_prefix("head "));
    let head = head.expect("a head");
    assert!(concordant(&["verify", head], &db).status.success());
    let wrong = format!(
        "{}-{}",
        head.split('-').next().unwrap_or_default(),
        "a".repeat(64)
    );
    let verified = concordant(&["verify", &wrong], &db);
    assert!(
        said(&verified).contains("found another"),
        "{}",
        said(&verified)
    );
}
