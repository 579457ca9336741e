//! Sections whose last digits are unlike estimated ones, for those who teach them.

use crate::course::Experiment;
use crate::desk::Image;
use crate::judge::OddDigits;

/// What the last digits of a section show.
pub struct SectionDigits {
    /// Title of the experiment.
    pub experiment: String,
    pub section: String,
    /// What was counted, and what it may mean.
    pub words: String,
}

/// The sections of an experiment, of those asked for, whose last digits are odd.
pub fn section_digits(
    view: &Image,
    experiment: &Experiment,
    asked_for: impl Fn(&str) -> bool,
) -> Vec<SectionDigits> {
    let odd = view.term.section_digits(experiment).into_iter();
    let of = |(section, odd): (&str, OddDigits)| {
        let meaning = if odd.is_rounded() {
            "Many seem to read to the mark or to half a division; show them how to estimate between two."
        } else {
            "Readings that are made up often avoid these digits; look at how they were taken."
        };
        SectionDigits {
            experiment: experiment.procedure.title.clone(),
            section: section.to_owned(),
            words: format!("{}. {meaning}", odd.words()),
        }
    };
    odd.filter(|(section, _)| asked_for(section))
        .map(of)
        .collect()
}
