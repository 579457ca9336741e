//! No template that a student's page uses holds a text of its own.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("templates")
}

/// Pages on the way of a student that are shown in English still: the second step, which students are not asked for,
/// and the demonstration's first page. What whoever runs a department sees is no student's.
const STILL_ENGLISH: [&str; 5] = [
    "code.html",
    "second-step.html",
    "demo.html",
    "department/all.html",
    "department/course.html",
];

/// The templates that pages of students name, and those they take in.
fn of_students() -> BTreeSet<String> {
    let sources = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/web");
    let mut found = BTreeSet::new();
    let mut files = vec![
        sources.join("surround.rs"),
        sources.join("department/courses.rs"),
    ];
    for directory in ["student", "sign_in"] {
        let entries = fs::read_dir(sources.join(directory)).expect("a directory");
        files.extend(entries.map(|entry| entry.expect("an entry").path()));
    }
    for file in files {
        let text = fs::read_to_string(&file).expect("a source");
        for part in text.split("#[template(path = \"").skip(1) {
            found.insert(part.split('"').next().unwrap_or_default().to_owned());
        }
    }
    let mut open: Vec<String> = found.iter().cloned().collect();
    while let Some(template) = open.pop() {
        let text = fs::read_to_string(root().join(&template)).expect("a template");
        for word in ["extends \"", "include \"", "import \""] {
            for part in text.split(word).skip(1) {
                let other = part.split('"').next().unwrap_or_default().to_owned();
                if found.insert(other.clone()) {
                    open.push(other);
                }
            }
        }
    }
    found.retain(|template| {
        !STILL_ENGLISH.contains(&template.as_str()) && !template.starts_with("coordinator/")
    });
    found
}

/// A template without what the program puts in and decides.
fn without_expressions(template: &str) -> String {
    // the class of a page is no text
    let mut text = template.to_owned();
    if let Some(from) = text.find("{% block main_class %}") {
        let to = text[from..].find("{% endblock %}").expect("an end") + from;
        text.replace_range(from..to, "");
    }
    for (begin, end) in [("{#", "#}"), ("{%", "%}"), ("{{", "}}")] {
        while let Some(from) = text.find(begin) {
            let to = text[from..].find(end).expect("an end") + from + end.len();
            text.replace_range(from..to, "");
        }
    }
    text
}

/// Letters between tags, and in attributes that are read out or shown.
fn texts(template: &str) -> Vec<String> {
    const READ_OUT: [&str; 6] = [
        "aria-label=\"",
        "data-label=\"",
        "data-step=\"",
        "title=\"",
        "alt=\"",
        "placeholder=\"",
    ];
    let text = without_expressions(template);
    let mut found = Vec::new();
    for name in READ_OUT {
        for part in text.split(&format!(" {name}")).skip(1) {
            found.push(part.split('"').next().unwrap_or_default().to_owned());
        }
    }
    let mut rest = text.as_str();
    while let Some((before, after)) = rest.split_once('<') {
        found.push(before.to_owned());
        rest = after.split_once('>').map_or("", |(_, behind)| behind);
    }
    found.push(rest.to_owned());
    // the attributes of a macro stand in no tag
    let is_attribute = |word: &str| word.contains("=\"") && word.ends_with('"');
    let attributes_left_out = |text: String| {
        let words = text.split_whitespace().filter(|word| !is_attribute(word));
        words.collect::<Vec<_>>().join(" ")
    };
    // signs of units and quantities are the same in every language
    const SIGNS: [&str; 3] = ["mL", "&nbsp;", "Concordant"];
    let bare = |text: String| SIGNS.iter().fold(text, |text, sign| text.replace(sign, ""));
    // so is the sign of a standard uncertainty
    let has_letters = |text: &String| text != "u" && text.chars().any(char::is_alphabetic);
    let own = found.into_iter().map(attributes_left_out).map(bare);
    own.filter(has_letters).collect()
}

#[test]
fn no_template_of_a_student_holds_a_text_of_its_own() {
    let templates = of_students();
    assert!(templates.len() >= 20, "{templates:?}");
    for needed in [
        "layout.html",
        "student/bench.html",
        "worked_macro.html",
        "form.html",
        "error.html",
    ] {
        assert!(templates.contains(needed), "{needed}");
    }
    for template in templates {
        let text = fs::read_to_string(root().join(&template)).expect("a template");
        let own = texts(&text);
        assert!(own.is_empty(), "{template} holds {own:?}");
    }
}

#[test]
fn a_text_in_a_template_is_found() {
    let found = texts(
        "<p class=\"x\">{{ frame.text(\"a.b\") }} Hello</p>{% if a > b %}<i>5 mL</i>{% endif %}",
    );
    assert_eq!(found, ["Hello"]);
    assert_eq!(texts("<nav aria-label=\"Parts\"></nav>"), ["Parts"]);
}
