//! The texts of a procedure: `[text]`, and `[text.de]` for the same in another language.

use std::collections::BTreeMap;

use crate::language::Language;
use crate::procedure::ProcedureText;
use crate::text::Section;

const KEYS: [&str; 6] = [
    "summary",
    "steps",
    "endpoint",
    "cautions",
    "waste",
    "glassware_note",
];

/// The procedure's own text, which is in English, and its translations. One that says less is at fault.
pub(super) fn read_texts(section: &Section) -> (ProcedureText, BTreeMap<Language, ProcedureText>) {
    let others = Language::ALL.into_iter();
    let others = others.filter(|language| *language != Language::default());
    let others: Vec<Language> = others.collect();
    let codes = others.iter().map(|language| language.code());
    section.only(&KEYS.into_iter().chain(codes).collect::<Vec<_>>());
    let own = read_text(section);
    let mut translations = BTreeMap::new();
    for language in others {
        section.table(language.code(), |section| {
            section.only(&KEYS.into_iter().chain(["title"]).collect::<Vec<_>>());
            let text = ProcedureText {
                title: section.text("title").unwrap_or_default(),
                ..read_text(&section)
            };
            for (key, what) in own.lacks(&text) {
                // a title that is not there is said to be missing already
                if key != "title" || section.has("title") {
                    section.fault(key, what);
                }
            }
            translations.insert(language, text);
        });
    }
    (own, translations)
}

fn read_text(section: &Section) -> ProcedureText {
    ProcedureText {
        title: String::new(),
        summary: section.text_if_any("summary").unwrap_or_default(),
        steps: section.texts("steps"),
        endpoint: section.text_if_any("endpoint").unwrap_or_default(),
        glassware_note: section.text_if_any("glassware_note").unwrap_or_default(),
        cautions: section.texts("cautions"),
        waste: section.text_if_any("waste").unwrap_or_default(),
    }
}
