//! The demo, as it is started by hand, against the same folder graded without a server.

use std::io::{BufRead, BufReader, Lines};
use std::path::Path;
use std::process::{Child, ChildStdout, Command, Stdio};

use crate::app::Person;

/// The demo as a process of its own, with a sign-in for each role.
pub struct Demo {
    process: Child,
    pub address: String,
    /// Role, login, password.
    pub sign_ins: Vec<[String; 3]>,
    /// Held open: the demo has another line to print after the sign-ins.
    _lines: Lines<BufReader<ChildStdout>>,
}

impl Demo {
    pub fn start() -> Self {
        let mut process = Command::new(env!("CARGO_BIN_EXE_concordant"))
            .args(["demo", "--listen", "127.0.0.1:0"])
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("the demo starts");
        let mut lines = BufReader::new(process.stdout.take().expect("stdout")).lines();
        let first = lines.next().expect("a line").expect("is text");
        let address = first.rsplit(' ').next().unwrap_or_default().to_owned();
        let sign_ins = lines
            .by_ref()
            .take(4)
            .map(|line| {
                let line = line.expect("is text");
                let words: Vec<&str> = line.split_whitespace().collect();
                [
                    words[0].to_owned(),
                    words[4].to_owned(),
                    words[6].to_owned(),
                ]
            })
            .collect();
        Self {
            process,
            address,
            sign_ins,
            _lines: lines,
        }
    }

    pub async fn person(&self, role: &str) -> Person {
        let [_, login, password] = self
            .sign_ins
            .iter()
            .find(|s| s[0] == role)
            .expect("the role");
        let mut person = Person::at(&self.address);
        let answer = person
            .post_open("/sign-in", &[("login", login), ("password", password)])
            .await;
        assert_eq!(answer.status, 303, "{}", answer.body);
        person
    }
}

impl Drop for Demo {
    fn drop(&mut self) {
        // asked to end, so that it takes its database with it
        let pid = self.process.id().to_string();
        let _asked = Command::new("kill").arg(pid).status();
        let _waited = self.process.wait();
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn the_served_demo_exports_what_grading_its_folder_gives() {
    let demo = Demo::start();
    let mut coordinator = demo.person("coordinator").await;
    let out = tempfile::tempdir().expect("a directory");
    let graded = Command::new(env!("CARGO_BIN_EXE_concordant"))
        .arg("grade")
        .arg(Path::new(env!("CARGO_MANIFEST_DIR")).join("seed-data/demo"))
        .arg("--out")
        .arg(out.path())
        .output()
        .expect("runs");
    assert!(graded.status.success());
    for file in ["gradebook.csv", "results.csv", "flags.csv", "audit.csv"] {
        let served = coordinator.get(&format!("/course/{file}")).await;
        assert_eq!(served.status, 200);
        let graded = std::fs::read_to_string(out.path().join(file)).expect("a file");
        for (line, (served, graded)) in served.body.lines().zip(graded.lines()).enumerate() {
            // the served course is moved to today, and its days with it
            let day = |line: &str| line.split(',').nth(2).unwrap_or_default().to_owned();
            let graded = match graded.contains(",day,") {
                true => graded.replacen(&day(graded), &day(served), 1),
                false => graded.to_owned(),
            };
            assert_eq!(served, graded, "{file}, line {}", line + 1);
        }
        assert_eq!(
            served.body.lines().count(),
            graded.lines().count(),
            "{file}"
        );
    }
    // about 280 of 288 are handed in, and each role finds something to do
    let results = std::fs::read_to_string(out.path().join("results.csv")).expect("a file");
    assert!((275..=285).contains(&(results.lines().count() - 1)));
    let mut student = demo.person("student").await;
    let home = student.get("/student").await.body;
    assert!(
        home.contains("results are out") && home.contains("to do"),
        "{home}"
    );
    // accepting one after another, the assistant's list comes to an end
    let mut assistant = demo.person("assistant").await;
    let mut settled = 0;
    loop {
        let list = assistant.get("/review").await.body;
        // a bottle that is off waits for the coordinator
        if list.contains("Nothing waits for you")
            || list.contains("No submission waits for a decision of its own")
        {
            break;
        }
        let next = list
            .split("href=\"/review/")
            .nth(1)
            .and_then(|rest| rest.split(['"', '?']).next())
            .expect("a submission");
        let page = assistant.get(&format!("/review/{next}")).await.body;
        let seen = page
            .split("name=\"seen\" value=\"")
            .nth(1)
            .and_then(|rest| rest.split('"').next())
            .expect("a form");
        let fields = [("seen", seen), ("filter", ""), ("action", "accept")];
        let answer = assistant
            .post_form(&format!("/review/{next}/decide"), &fields)
            .await;
        assert_eq!(answer.status, 303, "{}", answer.body);
        settled += 1;
        assert!(settled < 40, "{next} waits for ever");
    }
    assert!(settled > 2, "only {settled} waited");
}

/// A folder imported, exported, imported and exported again: byte for byte the same.
#[test]
fn export_then_import_then_export_is_identical() {
    let place = tempfile::tempdir().expect("a directory");
    let run = |arguments: &[&str]| {
        let done = Command::new(env!("CARGO_BIN_EXE_concordant"))
            .args(arguments)
            .current_dir(place.path())
            .output()
            .expect("runs");
        assert!(
            done.status.success(),
            "{arguments:?}: {}",
            String::from_utf8_lossy(&done.stderr)
        );
        String::from_utf8_lossy(&done.stdout).into_owned()
    };
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("seed-data/demo");
    run(&["import", &demo.to_string_lossy(), "--db", "one.db"]);
    run(&["export", "--db", "one.db", "--out", "one"]);
    run(&["import", "one", "--db", "two.db"]);
    run(&["export", "--db", "two.db", "--out", "two"]);
    let (one, two) = (
        files(&place.path().join("one")),
        files(&place.path().join("two")),
    );
    assert!(one.len() > 12);
    assert_eq!(one, two);
    assert_eq!(files(&demo), one);
    assert!(run(&["recompute", "--db", "two.db", "--verify"]).contains(" 0 differ"));
    assert!(run(&["backup", "--db", "two.db", "--to", "copy.db"]).contains("sound, "));
    assert!(run(&["recompute", "--db", "copy.db", "--verify"]).contains(" 0 differ"));
}

/// Exit status and where things are said: 1 with every fault on a line of stderr, 2 for wrong usage.
#[test]
fn faults_are_lines_and_nothing_is_made() {
    let place = tempfile::tempdir().expect("a directory");
    std::fs::write(
        place.path().join("course.toml"),
        "title = \"T\"\nterm = 3\n",
    )
    .expect("written");
    std::fs::write(
        place.path().join("roster.csv"),
        "student_id,family_name,given_name,section\n1,A,B,C\n1,D,E,F\n",
    )
    .expect("written");
    let run = |arguments: &[&str]| {
        Command::new(env!("CARGO_BIN_EXE_concordant"))
            .args(arguments)
            .current_dir(place.path())
            .output()
            .expect("runs")
    };
    let done = run(&["import", ".", "--db", "x.db"]);
    assert_eq!(done.status.code(), Some(1));
    assert!(done.stdout.is_empty());
    let said = String::from_utf8_lossy(&done.stderr);
    assert!(
        said.contains("course.toml:1, key time_zone:")
            && said.contains("roster.csv:3, column student_id:"),
        "{said}"
    );
    assert!(!place.path().join("x.db").exists());
    assert_eq!(run(&["grade"]).status.code(), Some(2));
    assert_eq!(
        run(&["recompute", "--db", "none.db"]).status.code(),
        Some(1)
    );
    let text = std::fs::read_to_string(
        Path::new(env!("CARGO_MANIFEST_DIR")).join("seed-data/procedures/spring-chloride.toml"),
    );
    let unbalanced = text
        .expect("a procedure")
        .replace("Ag^+ + Cl^- -> AgCl", "Ag^+ + 2 Cl^- -> AgCl");
    std::fs::write(place.path().join("p.toml"), unbalanced).expect("written");
    let done = run(&["check", "p.toml"]);
    assert_eq!(done.status.code(), Some(1));
    let said = String::from_utf8_lossy(&done.stderr);
    assert!(
        said.contains("does not balance: Cl 2 left, 1 right; charge -1 left, 0 right; balanced it reads “Ag^+ + Cl^- -> AgCl”"),
        "{said}"
    );
}

/// Reactions are balanced on the command line; one that cannot be makes the command fail, and the others are printed.
/// Of a procedure with EDTA it is said how sharp the endpoint is.
#[test]
fn reactions_are_balanced_and_endpoints_judged() {
    let run = |args: &[&str]| {
        let done = Command::new(env!("CARGO_BIN_EXE_concordant"))
            .arg("check")
            .args(args)
            .output()
            .expect("runs");
        let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
        (done.status.code(), text(&done.stdout), text(&done.stderr))
    };
    let oxalate = "MnO4^- + C2O4^2- + H^+ -> Mn^2+ + CO2 + H2O";
    let balanced = "2 MnO4^- + 5 C2O4^2- + 16 H^+ -> 2 Mn^2+ + 10 CO2 + 8 H2O\n";
    assert_eq!(
        run(&["--balance", oxalate]),
        (Some(0), balanced.to_owned(), String::new())
    );
    let (code, out, err) = run(&["--balance", "H2 -> O2", "--balance", oxalate]);
    assert_eq!((code, out.as_str()), (Some(1), balanced));
    assert!(err.contains("“H2 -> O2” cannot be balanced: found H on the left only"));
    let (code, out, err) = run(&["none.toml", "--balance", oxalate]);
    assert_eq!((code, out.as_str()), (Some(1), balanced));
    assert!(err.contains("none.toml: cannot be read"), "{err}");
    assert_eq!(run(&[]).0, Some(2));
    let hardness = concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/seed-data/procedures/well-water-hardness.toml"
    );
    let (code, out, _) = run(&[hardness]);
    assert_eq!(code, Some(0));
    let endpoint =
        "  endpoint   at pH 10.0 the conditional constant of Ca²⁺ with EDTA is log K′ = 10.1";
    assert!(out.contains(endpoint), "{out}");
}

/// One result explained on the command line: the numbers of its readings, its steps and its uncertainty.
#[test]
fn a_result_is_explained() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/outside/course");
    let run = |student: &str| {
        Command::new(env!("CARGO_BIN_EXE_concordant"))
            .arg("explain")
            .arg(&folder)
            .args(["lemon", student])
            .output()
            .expect("runs")
    };
    let done = run("001203");
    let said = String::from_utf8_lossy(&done.stdout).into_owned();
    for text in [
        "What all trials share\n  molarity of NaOH, lot NAOH-A\n      c(NaOH) = 0.10000 mol/L ",
        "Trial 1\n  end reading\n      e\u{2081} = 17.68 mL ",
        "\n  delivered volume\n      V\u{2081} = e\u{2081} \u{2212} s\u{2081}\n         = (17.68 \u{2212} 2.53) mL\n         = 15.150 mL ",
        "u = 0.028 mL",
        "M(C\u{2086}H\u{2088}O\u{2087})",
        "each trial",
        "% of the variance",
        "4.8511",
        "expanded uncertainty (95 %) 0.018 %w/v",
        "significant figures: 4.851",
    ] {
        assert!(said.contains(text), "{text} in {said}");
    }
    assert!(
        !said.contains("4.803075"),
        "the true value is no part of it"
    );
    let beside: Vec<usize> = said
        .lines()
        .filter_map(|line| line.find("  u = ").map(|at| line[..at].chars().count()))
        .collect();
    assert!(beside.len() > 20, "{said}");
    let bars = said.matches('\u{304}').count();
    // a bar over a letter is a character that takes no room
    let edges: std::collections::BTreeSet<usize> = beside.into_iter().collect();
    assert!(edges.len() <= 1 + bars.min(1), "one edge: {edges:?}");
    assert_eq!(run("nobody").status.code(), Some(1));
}

fn files(under: &Path) -> std::collections::BTreeMap<String, Vec<u8>> {
    let folder = concordant::files::Folder::read(under).expect("a folder");
    folder
        .files()
        .map(|(path, bytes)| (path.to_owned(), bytes.to_vec()))
        .collect()
}
