//! Every text that a student reads is in the catalogue, in every language the same texts, and no template holds another.

mod course;
mod derivations;
mod templates;

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

use concordant::columns::Column;
use concordant::desk::accounts::What;
use concordant::judge::{Part, SlipCode};
use concordant::language::{Language, places};
use concordant::measure::GlasswareKind;

/// What keys begin with that are put together from the names of variants, and those names.
fn families() -> Vec<(&'static str, BTreeSet<String>)> {
    let owned = |names: &[&str]| names.iter().map(|name| (*name).to_owned()).collect();
    let columns: BTreeSet<String> = Column::kinds().map(Column::key).collect();
    vec![
        ("date.day.", (1..=7).map(|day| day.to_string()).collect()),
        (
            "date.month.",
            (1..=12).map(|month| month.to_string()).collect(),
        ),
        ("column.label.", columns.clone()),
        ("column.head.", columns),
        (
            "glassware.kind.",
            owned(&GlasswareKind::ALL.map(GlasswareKind::name)),
        ),
        ("access.event.", owned(&What::ALL.map(What::name))),
        ("slip.", owned(&SlipCode::ALL.map(SlipCode::code))),
        (
            "picture.signal.",
            owned(&["pH", "potential", "conductance"]),
        ),
    ]
}

fn sources() -> String {
    fn add(directory: &Path, all: &mut String) {
        for entry in fs::read_dir(directory).expect("a directory") {
            let path = entry.expect("an entry").path();
            let is_source = |path: &Path| {
                let end = path.extension().and_then(|end| end.to_str());
                matches!(end, Some("rs" | "html" | "js"))
            };
            if path.is_dir() {
                add(&path, all);
            } else if is_source(&path) {
                all.push_str(&fs::read_to_string(&path).expect("is text"));
            }
        }
    }
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut all = String::new();
    for directory in ["src", "templates", "static"] {
        add(&root.join(directory), &mut all);
    }
    all
}

#[test]
fn every_language_says_the_same_with_the_same_places() {
    let english = Language::English.catalogue();
    assert!(english.keys().count() > 400);
    for language in Language::ALL {
        let catalogue = language.catalogue();
        assert!(catalogue.faults().is_empty(), "{:?}", catalogue.faults());
        let keys: BTreeSet<_> = catalogue.keys().collect();
        let own: BTreeSet<_> = english.keys().collect();
        let differ: Vec<_> = keys.symmetric_difference(&own).collect();
        assert!(differ.is_empty(), "{language:?} and English: {differ:?}");
        for key in keys {
            let (one, other) = (catalogue.text(key), english.text(key));
            let (one, other) = (one.expect("a text"), other.expect("a text"));
            assert!(!one.other.is_empty(), "{language:?}: {key} says nothing");
            assert_eq!(
                places(&one.other),
                places(&other.other),
                "{language:?}: {key}"
            );
            assert_eq!(
                one.one.is_some(),
                other.one.is_some(),
                "{language:?}: {key}"
            );
            for text in one.one.iter().chain([&one.other]) {
                assert_eq!(text.matches("**").count() % 2, 0, "{language:?}: {key}");
                assert!(!text.contains("  "), "{language:?}: {key}");
            }
        }
    }
}

#[test]
fn every_text_is_used_and_every_key_is_there() {
    let catalogue = Language::English.catalogue();
    let sources = sources();
    let families = families();
    let is_of_family = |key: &str| {
        families.iter().any(|(prefix, names)| {
            key.strip_prefix(prefix)
                .is_some_and(|name| names.contains(name))
        })
    };
    for key in catalogue.keys() {
        // a script asks for its texts without the prefix
        let by_script = key.strip_prefix("js.");
        let used = by_script.unwrap_or(key);
        assert!(
            sources.contains(&format!("\"{used}\"")) || is_of_family(key),
            "{key} is used nowhere"
        );
    }
    for (prefix, names) in families {
        for name in names {
            let key = format!("{prefix}{name}");
            assert!(catalogue.text(&key).is_some(), "{key} is no text");
        }
    }
    let asks = [
        "message!(",
        "Message::new(",
        ".text(",
        ".tell(",
        ".rich(",
        ".counted(",
    ];
    let mut asked_for = 0;
    for ask in asks {
        for (place, _) in sources.match_indices(ask) {
            let rest = sources[place + ask.len()..].trim_start();
            let Some(key) = rest
                .strip_prefix('"')
                .and_then(|rest| rest.split('"').next())
            else {
                continue;
            };
            let is_key = key.contains('.')
                && !key.ends_with('.')
                && !key.contains([' ', '{', '/'])
                && !key.ends_with(".toml");
            if is_key && catalogue.text(key).is_none() {
                panic!("{ask}\"{key}\" is no text of the catalogue");
            }
            asked_for += usize::from(is_key);
        }
    }
    assert!(asked_for > 300, "{asked_for}");
    // of steps, causes and reasons, the key alone is handed on
    let handed_on = [
        "step.",
        "cause.",
        "why.",
        "derivation.",
        "budget.",
        "upload.",
    ];
    for word in sources.split('"') {
        let is_key = handed_on.iter().any(|prefix| word.starts_with(prefix))
            && word
                .chars()
                .all(|c| c.is_ascii_alphanumeric() || ".-".contains(c));
        assert!(
            !is_key || catalogue.text(word).is_some(),
            "{word} is no text"
        );
    }
}

/// Words of the trade, as usual German textbooks of quantitative analysis have them (from memory).
#[test]
fn german_has_the_words_of_the_trade() {
    let german = Language::German;
    let key = |key: &str| german.text(key).to_owned();
    assert_eq!(key("column.label.burette_end_mL"), "Bürette, Ende");
    assert_eq!(key("column.label.sample_g"), "Einwaage");
    assert_eq!(key("trial.blank"), "Blindwert");
    assert_eq!(key("trial.rough"), "Vortitration");
    assert_eq!(key("glassware.kind.flask"), "Messkolben");
    assert_eq!(key("glassware.kind.pipette"), "Vollpipette");
    for part in Part::ALL {
        assert_ne!(german.say(&part.words()), part.to_string());
    }
    assert_eq!(german.number("0.1004"), "0,1004");
    assert_eq!(german.counted("count.decimal", 1), "1 Nachkommastelle");
    assert_eq!(german.counted("count.decimal", 2), "2 Nachkommastellen");
}
