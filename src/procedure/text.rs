//! What people read of a procedure, in the languages it holds.

use super::Common;
use crate::language::Language;

/// What people read on the bench form and in print.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ProcedureText {
    /// Of a translation; the procedure's own stands beside its key.
    pub title: String,
    /// One or two sentences.
    pub summary: String,
    /// What to do, in order.
    pub steps: Vec<String>,
    /// How the endpoint looks.
    pub endpoint: String,
    /// What to mind about glassware and readings.
    pub glassware_note: String,
    pub cautions: Vec<String>,
    pub waste: String,
}

impl ProcedureText {
    /// What a translation lacks that the procedure's own text says: a step or a caution left out is one nobody reads.
    pub fn lacks(&self, translated: &Self) -> Vec<(&'static str, String)> {
        let count = |key, own: usize, other: usize| {
            let what = format!("found {other}, expected {own}, as in the procedure's own text");
            (own != other).then_some((key, what))
        };
        let said = |key, own: &str, other: &str| {
            let what = "found nothing, expected what the procedure's own text says".to_owned();
            (!own.is_empty() && other.is_empty()).then_some((key, what))
        };
        let title = translated.title.is_empty();
        let title = title.then(|| ("title", "found nothing, expected a title".to_owned()));
        [
            title,
            said("summary", &self.summary, &translated.summary),
            count("steps", self.steps.len(), translated.steps.len()),
            said("endpoint", &self.endpoint, &translated.endpoint),
            said(
                "glassware_note",
                &self.glassware_note,
                &translated.glassware_note,
            ),
            count("cautions", self.cautions.len(), translated.cautions.len()),
            said("waste", &self.waste, &translated.waste),
        ]
        .into_iter()
        .flatten()
        .collect()
    }
}

impl Common {
    /// What people read in that language; the procedure's own text where it has no other.
    pub fn text_in(&self, language: Language) -> &ProcedureText {
        self.translations.get(&language).unwrap_or(&self.text)
    }

    /// The title in that language.
    pub fn title_in(&self, language: Language) -> &str {
        let translated = self.translations.get(&language);
        translated.map_or(&self.title, |text| &text.title)
    }
}
