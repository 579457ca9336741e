//! What the bench form says of an earlier experiment that the result rests on.

use crate::chem::printed;
use crate::course::Experiment;
use crate::desk::Image;
use crate::procedure::CarriedBy;
use crate::term::Slot;
use crate::words::counted;

/// The titrant, or the calibration line, that an earlier experiment gives, if it does.
pub fn titrant_words(view: &Image, experiment: &Experiment, slot: &Slot) -> Option<String> {
    if let Some((_, from)) = experiment.procedure.line_taken_over() {
        let earlier = view.term.standardised_in(experiment);
        let title = earlier.map_or(from, |one| &one.procedure.title);
        return Some(match view.term.carried_line(slot) {
            Some(line) => {
                let read = counted(line.standards.len(), "standard", "standards");
                format!("Calibration line: through the {read} that you read in {title}.")
            }
            None => format!(
                "Calibration line: you have read no standards yet, in {title}. You can hand in all the same: the result follows as soon as they are there."
            ),
        });
    }
    let carried = experiment.procedure.carried_over()?;
    let species = printed(&experiment.procedure.titrant()?.species.to_string());
    let earlier = view.term.standardised_in(experiment);
    let title = earlier.map_or(carried.from.as_str(), |one| &one.procedure.title);
    let whose = match carried.by {
        CarriedBy::Student => "you",
        CarriedBy::Bench => "your bench group",
        CarriedBy::Section => "your section",
    };
    Some(match view.term.carried_titrant(slot) {
        Some(titrant) => {
            let (value, u) = titrant.lot.molarity.rounded();
            format!(
                "{species}: {value} mol/L with a standard uncertainty of {u} mol/L, as {whose} found in {title}."
            )
        }
        None => format!(
            "{species}: {whose} standardised none yet, in {title}. You can hand in all the same: the result follows as soon as that is there."
        ),
    })
}
