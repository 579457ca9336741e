//! The first minutes: the README, the guide on the command line and in the browser, and the demonstration's first page.

use std::io::Write as _;
use std::process::{Command, Stdio};

use crate::app::{Person, TestApp};
use crate::demo::Demo;

const README: &str = include_str!("../../README.md");

fn printed(arguments: &[&str]) -> String {
    let done = Command::new(env!("CARGO_BIN_EXE_concordant"))
        .args(arguments)
        .output()
        .expect("runs");
    assert!(done.status.success(), "{arguments:?}");
    String::from_utf8(done.stdout).expect("text")
}

fn words(text: &str) -> String {
    let kept = |c: char| if c.is_alphanumeric() { c } else { ' ' };
    let text: String = text.chars().map(kept).collect();
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The words of a page without its tags.
fn words_of_page(html: &str) -> String {
    let main = html.split("<div class=\"guide\">").nth(1).expect("a text");
    let main = main.split("</main>").next().expect("an end");
    let mut text = String::new();
    for part in main.split('<') {
        let after = part.split_once('>').map_or(part, |(_, text)| text);
        text.push_str(after);
        text.push(' ');
    }
    for (from, to) in [
        ("&quot;", "\""),
        ("&lt;", "<"),
        ("&gt;", ">"),
        ("&amp;", "&"),
    ] {
        text = text.replace(from, to);
    }
    words(&text)
}

#[tokio::test]
async fn the_command_line_and_the_browser_show_one_guide() {
    let app = TestApp::spawn().await;
    let mut stranger = app.stranger();
    let index = stranger.get("/guide").await;
    let names: Vec<&str> = index
        .body
        .split("href=\"/guide/")
        .skip(1)
        .filter_map(|rest| rest.split('"').next())
        .collect();
    assert!(names.len() >= 7, "{names:?}");
    let listed = printed(&["help"]);
    for name in names {
        let text = printed(&["help", name]);
        assert!(listed.contains(&format!("\n  {name} ")), "{name}");
        assert!(README.contains(&format!("`{name}`")), "{name}");
        let page = stranger.get(&format!("/guide/{name}")).await;
        assert_eq!(page.status, 200);
        // marks of Markdown between words aside, and what stands behind a fence
        let plain: Vec<&str> = text
            .lines()
            .filter(|line| !line.starts_with("```") && !line.starts_with("|---"))
            .map(|line| line.trim_start_matches(['#', ' ']))
            .collect();
        let numbered = |line: &&str| {
            line.split_once(". ")
                .is_some_and(|(n, _)| n.parse::<u8>().is_ok())
        };
        assert!(
            !plain.iter().any(numbered),
            "numbers are not in the page's text"
        );
        assert_eq!(
            words_of_page(&page.body),
            words(&plain.join("\n")),
            "{name}"
        );
    }
    assert_eq!(stranger.get("/guide/nothing").await.status, 404);
}

#[test]
fn every_command_is_in_the_manual_page_and_the_completions() {
    let commands = printed(&["help"]);
    let commands: Vec<&str> = commands
        .split("Commands:\n")
        .nth(1)
        .and_then(|rest| rest.split("\n\n").next())
        .expect("commands")
        .lines()
        .filter_map(|line| line.strip_prefix("  ")?.split(' ').next())
        .filter(|word| !word.is_empty())
        .collect();
    assert!(commands.len() > 15, "{commands:?}");
    let guide = printed(&["help", "commands"]);
    let (page, bash) = (printed(&["man"]), printed(&["completions", "bash"]));
    assert!(page.contains(".TH concordant"), "{page}");
    for command in commands {
        assert!(
            guide.contains(&format!("`concordant {command}")),
            "{command}"
        );
        let escaped = command.replace('-', "\\-");
        assert!(
            page.contains(&format!("concordant\\-{escaped}(1)")),
            "{command}"
        );
        assert!(
            bash.contains(&format!("concordant,{command})")),
            "{command}"
        );
        assert!(printed(&["man", command]).contains(".SH SYNOPSIS"));
    }
    let mut shell = Command::new("bash")
        .arg("-n")
        .stdin(Stdio::piped())
        .spawn()
        .expect("bash is there");
    let mut pipe = shell.stdin.take().expect("a pipe");
    pipe.write_all(bash.as_bytes()).expect("is read");
    drop(pipe);
    assert!(shell.wait().expect("ends").success());
}

#[test]
fn the_readme_is_short_and_sets_up_with_two_commands() {
    assert!((40..=75).contains(&README.lines().count()));
    let blocks: Vec<&str> = README.split("```sh\n").skip(1).collect();
    let commands = blocks
        .iter()
        .filter_map(|block| block.split("\n```").next());
    assert_eq!(
        commands.collect::<Vec<_>>(),
        ["cargo run -- demo", "cargo test"]
    );
    let picture = std::fs::metadata(concat!(env!("CARGO_MANIFEST_DIR"), "/static/readme.png"));
    assert!(README.contains("(static/readme.png)"));
    assert!(picture.expect("a picture").len() < 150_000);
}

/// Hidden fields of the forms that bring somebody in.
fn ways_in(page: &str) -> Vec<[String; 2]> {
    let field = |form: &str, name: &str| {
        let from = format!("<input type=\"hidden\" name=\"{name}\" value=\"");
        let rest = form.split(&from).nth(1)?;
        Some(rest.split('"').next()?.to_owned())
    };
    page.split("<form method=\"post\" action=\"/sign-in\"")
        .filter_map(|form| Some([field(form, "login")?, field(form, "password")?]))
        .collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn the_demonstration_brings_in_as_each_role() {
    let demo = Demo::start();
    let mut person = Person::at(&demo.address);
    let page = person.get("/sign-in").await;
    assert!(page.body.contains("This is a demonstration"));
    let ways = ways_in(&page.body);
    let homes = ["/student", "/review", "/course", "/prep"];
    assert_eq!(ways.len(), homes.len());
    for ([login, password], home) in ways.iter().zip(homes) {
        let mut person = Person::at(&demo.address);
        let fields = [("login", login.as_str()), ("password", password.as_str())];
        let answer = person.post_open("/sign-in", &fields).await;
        assert_eq!((answer.status, answer.location()), (303, home), "{login}");
        assert_eq!(person.get(home).await.status, 200);
    }
    let guess = [("login", ways[2][0].as_str()), ("password", "demo")];
    let answer = Person::at(&demo.address)
        .post_open("/sign-in", &guess)
        .await;
    assert_eq!(answer.status, 422);
}

#[tokio::test]
async fn an_ordinary_server_has_no_such_page() {
    let app = TestApp::spawn().await;
    let page = app.stranger().get("/sign-in").await;
    assert!(!page.body.contains("demonstration"), "{}", page.body);
    assert!(ways_in(&page.body).is_empty());
}
