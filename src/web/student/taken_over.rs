//! What the bench form says of an earlier experiment that the result rests on.

use crate::chem::printed;
use crate::course::Experiment;
use crate::desk::Image;
use crate::language::{Message, message, number};
use crate::procedure::CarriedBy;
use crate::term::Slot;

/// The titrant, or the calibration line, that an earlier experiment gives, if it does.
pub fn titrant_words(view: &Image, experiment: &Experiment, slot: &Slot) -> Option<Message> {
    if let Some((_, from)) = experiment.procedure.line_taken_over() {
        let earlier = view.term.standardised_in(experiment);
        let title = earlier.map_or(from, |one| &one.procedure.title);
        return Some(match view.term.carried_line(slot) {
            Some(line) => {
                message!("carried.line", n = line.standards.len(), title = title)
            }
            None => message!("carried.no-line", title = title),
        });
    }
    let carried = experiment.procedure.carried_over()?;
    let species = printed(&experiment.procedure.titrant()?.species.to_string());
    let earlier = view.term.standardised_in(experiment);
    let title = earlier.map_or(carried.from.as_str(), |one| &one.procedure.title);
    let found = view.term.carried_titrant(slot);
    let said = match (carried.by, &found) {
        (CarriedBy::Student, Some(_)) => message!("carried.you"),
        (CarriedBy::Bench, Some(_)) => message!("carried.bench"),
        (CarriedBy::Section, Some(_)) => message!("carried.section"),
        (CarriedBy::Student, None) => message!("carried.not-you"),
        (CarriedBy::Bench, None) => message!("carried.not-bench"),
        (CarriedBy::Section, None) => message!("carried.not-section"),
    };
    let said = said.with("species", species).with("title", title);
    Some(match found {
        Some(titrant) => {
            let (value, u) = titrant.lot.molarity.rounded();
            said.with("value", number(value)).with("u", number(u))
        }
        None => said,
    })
}
