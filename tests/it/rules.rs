//! The rules by which hand-ins are judged have a number, which a judgement carries: `recompute --verify` tells by it
//! what other rules made of a hand-in from what somebody altered. Whoever changes the rules counts it up.

use std::path::Path;

use concordant::files::{Folder, demo_folder, read_term};
use concordant::judge::RULES;
use serde_json::Value;
use sha2::{Digest, Sha256};

/// The number of the rules, and the digest of all that they make of the examples.
const KEPT: (u32, &str) = (
    3,
    "38fb9264af212fe72318e138597555d75038d9db4baf4cabd5537bb4555e4ded",
);

/// What is said, with numbers as far as every machine works them out alike.
fn say(value: &Value, to: &mut String) {
    match value {
        Value::Object(fields) => {
            for (name, value) in fields {
                to.push_str(name);
                to.push(':');
                say(value, to);
            }
        }
        Value::Array(values) => {
            to.push('[');
            values.iter().for_each(|value| say(value, to));
            to.push(']');
        }
        Value::Number(number) if number.is_f64() => {
            let number = number.as_f64().unwrap_or_default();
            to.push_str(&format!("{number:.6e};"));
        }
        other => {
            to.push_str(&other.to_string());
            to.push(';');
        }
    }
}

#[test]
fn other_rules_have_another_number() {
    let outside = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/outside/course");
    let folders = [
        demo_folder(),
        Folder::read(&outside).expect("a course"),
        crate::access::folder(),
    ];
    let (mut said, mut judged) = (String::new(), 0);
    for folder in folders {
        let term = read_term(&folder).expect("a course");
        for (slot, one) in term.judge_all() {
            let one = serde_json::to_value(&one).expect("is written as JSON");
            said.push_str(&format!("{} {} ", slot.experiment, slot.student));
            say(&one, &mut said);
            judged += 1;
        }
    }
    assert!(judged > 300, "{judged}");
    let digest: String = Sha256::digest(&said)
        .iter()
        .map(|b| format!("{b:02x}"))
        .collect();
    assert_eq!(
        (RULES, digest.as_str()),
        KEPT,
        "the examples are judged as something else than before, or RULES was counted up. If what a hand-in comes to, its \
         flags or the words about it were meant to change, count RULES up in src/judge/mod.rs (once between two versions \
         that people run) and put both here; if not, find what changed them"
    );
}
