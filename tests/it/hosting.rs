//! What whoever hosts a course has: the kit, figures, logs.

use std::collections::BTreeSet;
use std::io::{BufRead, BufReader};
use std::process::{Child, Command, Stdio};

struct Server(Child);

impl Drop for Server {
    fn drop(&mut self) {
        // it may have ended
        let _killed = self.0.kill();
        let _ended = self.0.wait();
    }
}

fn help(command: &str) -> String {
    let line = [command, "--help"];
    let done = Command::new(env!("CARGO_BIN_EXE_concordant"))
        .args(line)
        .output();
    let done = done.expect("runs");
    assert!(done.status.success(), "concordant {command} is no command");
    String::from_utf8(done.stdout).expect("is text")
}

#[test]
fn the_kit_names_commands_and_settings_that_there_are() {
    let directory = tempfile::tempdir().expect("a directory");
    let folder = directory.path().join("kit");
    let write = || {
        let done = Command::new(env!("CARGO_BIN_EXE_concordant"))
            .arg("kit")
            .arg(&folder)
            .output();
        let done = done.expect("runs");
        assert!(
            done.status.success(),
            "{}",
            String::from_utf8_lossy(&done.stderr)
        );
    };
    write();
    let unit = folder.join("concordant.service");
    std::fs::write(&unit, "our own").expect("is written");
    write();
    assert_eq!(std::fs::read_to_string(&unit).expect("is read"), "our own");
    std::fs::remove_file(&unit).expect("is removed");
    write();
    let (mut commands, mut flags, mut variables) = (BTreeSet::new(), 0, 0);
    let serve = help("serve");
    for entry in std::fs::read_dir(&folder).expect("a folder") {
        let text = std::fs::read_to_string(entry.expect("an entry").path()).expect("is text");
        for line in text.lines() {
            for name in line.split(|c: char| !(c.is_ascii_uppercase() || c == '_')) {
                if name.starts_with("CONCORDANT_") {
                    assert!(serve.contains(&format!("[env: {name}")), "{name}: {line}");
                    variables += 1;
                }
            }
            for (at, name) in line.match_indices("concordant ") {
                let before = line[..at].chars().next_back();
                let mut words =
                    line[at + name.len()..].split(|c: char| c.is_whitespace() || c == '`');
                let command = words.next().unwrap_or_default();
                let is_word = command.chars().all(|c| c.is_ascii_lowercase() || c == '-');
                let is_called = before.is_none_or(|before| ['/', '`'].contains(&before));
                if !is_word || command.is_empty() || !is_called {
                    continue;
                }
                let call = &line[at + name.len()..];
                let help = help(command);
                for flag in call
                    .split('`')
                    .next()
                    .unwrap_or_default()
                    .split_whitespace()
                {
                    if flag.starts_with("--") {
                        assert!(help.contains(flag), "{command} has no {flag}: {line}");
                        flags += 1;
                    }
                }
                commands.insert(command.to_owned());
            }
        }
    }
    for command in [
        "serve",
        "backup",
        "restore",
        "verify",
        "recompute",
        "retire",
        "seal",
        "kit",
    ] {
        assert!(
            commands.contains(command),
            "{command} is not spoken of: {commands:?}"
        );
    }
    assert!(flags > 15 && variables > 8, "{flags} {variables}");
}

/// What a process was started with for glibc's allocator (mallopt(3)).
#[cfg(all(target_os = "linux", target_env = "gnu"))]
fn settings_of(process: u32) -> Vec<String> {
    let environment = std::fs::read(format!("/proc/{process}/environ")).expect("it runs");
    let environment = String::from_utf8_lossy(&environment).into_owned();
    let mut settings: Vec<&str> = environment
        .split('\0')
        .filter(|line| line.starts_with("MALLOC_"))
        .collect();
    settings.sort_unstable();
    let values = settings.iter().filter_map(|line| line.split_once('='));
    values.map(|(_, value)| value.to_owned()).collect()
}

/// They are set where nobody has set one, and left alone where somebody has.
#[cfg(all(target_os = "linux", target_env = "gnu"))]
#[test]
fn the_allocator_is_told_how_to_keep_memory_unless_somebody_has() {
    let directory = tempfile::tempdir().expect("a directory");
    for (by_hand, expected) in [(None, 3), (Some(("MALLOC_ARENA_MAX", "7")), 1)] {
        let mut command = Command::new(env!("CARGO_BIN_EXE_concordant"));
        command.args(["serve", "--new", "--listen", "127.0.0.1:0", "--db"]);
        command.arg(directory.path().join(format!("{expected}.db")));
        for name in [
            "MALLOC_ARENA_MAX",
            "MALLOC_MMAP_THRESHOLD_",
            "MALLOC_TRIM_THRESHOLD_",
            "GLIBC_TUNABLES",
        ] {
            command.env_remove(name);
        }
        command.envs(by_hand);
        let mut server = Server(command.stderr(Stdio::piped()).spawn().expect("starts"));
        let mut lines = BufReader::new(server.0.stderr.take().expect("a pipe")).lines();
        let serves =
            |line: &std::io::Result<String>| line.as_ref().is_ok_and(|l| l.contains("serving"));
        assert!(lines.any(|line| serves(&line)));
        let settings = settings_of(server.0.id());
        assert_eq!(settings.len(), expected, "{settings:?}");
    }
}

#[tokio::test]
async fn figures_stand_on_a_listener_of_their_own_and_logs_are_objects() {
    let directory = tempfile::tempdir().expect("a directory");
    let db = directory.path().join("course.db");
    let mut command = Command::new(env!("CARGO_BIN_EXE_concordant"));
    command.args([
        "serve",
        "--new",
        "--listen",
        "127.0.0.1:0",
        "--metrics",
        "127.0.0.1:0",
    ]);
    command
        .args(["--log", "json", "--log-level", "info", "--db"])
        .arg(&db);
    let mut server = Server(command.stderr(Stdio::piped()).spawn().expect("starts"));
    let mut lines = BufReader::new(server.0.stderr.take().expect("a pipe")).lines();
    let mut address_after = |words: &str| {
        let line = lines.find(|line| line.as_ref().is_ok_and(|line| line.contains(words)));
        let line = line.expect(words).expect("is text");
        line.split(' ').next_back().unwrap_or_default().to_owned()
    };
    let (figures, pages) = (address_after("figures on"), address_after("serving"));
    let client = reqwest::Client::builder()
        .no_proxy()
        .build()
        .expect("a client");
    for (path, status) in [("/sign-in", 200), ("/nowhere", 404), ("/metrics", 404)] {
        let answer = client
            .get(format!("{pages}{path}"))
            .send()
            .await
            .expect("an answer");
        assert_eq!(answer.status().as_u16(), status, "{path}");
    }
    let text = client.get(&figures).send().await.expect("an answer");
    let text = text.text().await.expect("is text");
    for line in [
        "concordant_answers_total{status=\"2xx\"} 1",
        "concordant_answers_total{status=\"4xx\"} 2",
        "concordant_answer_seconds_bucket{le=\"+Inf\"} 3",
        "concordant_answer_seconds_count 3",
        "concordant_database_up 1",
        "concordant_journal_rows 0",
    ] {
        assert!(text.lines().any(|one| one == line), "{line}: {text}");
    }
    // every line is a comment or a name with a number, as the format has it
    for line in text.lines().filter(|line| !line.starts_with("# ")) {
        let (name, number) = line.rsplit_once(' ').expect("two words");
        assert!(
            name.starts_with("concordant_") && number.parse::<f64>().is_ok(),
            "{line}"
        );
    }
    // the figures are for nobody who asks for a page there
    let page = figures.replace("/metrics", "/sign-in");
    assert_eq!(
        client
            .get(page)
            .send()
            .await
            .expect("an answer")
            .status()
            .as_u16(),
        404
    );
    let logged = lines.find_map(|line| serde_json::from_str::<serde_json::Value>(&line.ok()?).ok());
    let logged = logged.expect("an object");
    assert_eq!(logged["fields"]["message"], "answered", "{logged}");
}

#[test]
fn a_setting_that_cannot_be_is_refused_in_words() {
    let directory = tempfile::tempdir().expect("a directory");
    let secret = directory.path().join("secret");
    std::fs::write(&secret, "too short").expect("is written");
    let secret = secret.to_str().expect("is text");
    let issuer = ["--campus-client", "lab", "--campus-issuer"];
    for (arguments, words) in [
        (
            vec!["--campus-header", "X-User", "--campus-secret-file", secret],
            "--behind-proxy",
        ),
        (
            vec![
                "--behind-proxy",
                "1",
                "--campus-header",
                "X-User",
                "--campus-secret-file",
                secret,
            ],
            "32 characters",
        ),
        (
            [&issuer[..], &["https://login.example.edu"]].concat(),
            "--public-url",
        ),
        (
            [
                &issuer[..],
                &[
                    "http://login.example.edu",
                    "--public-url",
                    "https://lab.example.edu",
                ],
            ]
            .concat(),
            "https://",
        ),
        (vec!["--log-level", "loud"], "--log-level"),
        (vec!["--behind-proxy", "nginx"], "nginx"),
    ] {
        let mut command = Command::new(env!("CARGO_BIN_EXE_concordant"));
        command.args(["serve", "--db", "none.db"]).args(&arguments);
        let done = command.output().expect("runs");
        let why = String::from_utf8_lossy(&done.stderr).into_owned();
        assert!(
            done.status.code() == Some(1) && why.contains(words),
            "{arguments:?}: {why}"
        );
    }
}

/// The table of controls is whole, and what it points at is there.
#[test]
fn the_table_of_controls_points_at_what_there_is() {
    let root = std::path::Path::new(env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(root.join("seed-data/kit/ASVS-5.0.md")).expect("is read");
    let rows = text.lines().filter(|line| line.starts_with("| V"));
    let (mut ids, mut counts, mut paths) = (BTreeSet::new(), [0, 0], 0);
    for row in rows {
        let cells: Vec<&str> = row.trim_matches('|').split('|').map(str::trim).collect();
        let [id, level, what, state, by] = cells[..] else {
            panic!("{row}");
        };
        assert!(ids.insert(id.to_owned()), "{id} comes twice");
        counts[level.parse::<usize>().expect("a level") - 1] += 1;
        let known = ["met", "partly", "not met", "operator", "not applicable"];
        assert!(
            known.contains(&state) && !what.is_empty() && !by.is_empty(),
            "{row}"
        );
        for path in by
            .split('`')
            .skip(1)
            .step_by(2)
            .filter(|part| part.contains('/'))
        {
            let is_here = ["src/", "tests/", "static/", ".ci/"]
                .iter()
                .any(|part| path.starts_with(part));
            if is_here {
                assert!(root.join(path).exists(), "{id}: there is no {path}");
                paths += 1;
            }
        }
        assert!(!(level == "1" && state == "not met"), "{row}");
    }
    // as the standard counts them
    assert_eq!(counts, [70, 183]);
    assert!(paths > 60, "{paths}");
}
