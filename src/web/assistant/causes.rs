//! What many submissions have in common through no fault of a student: one row each, for whoever can settle the cause.

use std::collections::BTreeMap;

use rust_decimal::Decimal;

use super::filter::Filter;
use crate::desk::Image;
use crate::judge::{Consensus, Part};
use crate::measure::{from_f64, plain, to_figures};
use crate::term::{Slot, Status};
use crate::web::AssistantVisitor;
use crate::words::{counted, sentence};

/// A bottle, a lot, a section, a day or a burette that the class finds off, and the submissions that lose points by it.
pub struct Cause {
    pub experiment: String,
    /// Key of the experiment, whose audit settles it.
    pub key: String,
    /// Such as “Titrant lot edta-2: results lie 1.7 % high.”
    pub words: String,
    /// Such as “11 submissions”.
    pub waiting: String,
}

/// Causes within what the filter asks for of the visitor's sections, most points at stake first. They go when the
/// coordinator settles them, since the submissions are then marked against the value that stands.
pub fn causes(view: &Image, visitor: &AssistantVisitor, filter: &Filter) -> Vec<Cause> {
    let mut found: BTreeMap<(&str, &str), Losses> = BTreeMap::new();
    for (slot, judged) in &view.judged {
        let evaluation = &judged.evaluation;
        let (Some(consensus), Some(lost)) = (&evaluation.class.consensus, lost(view, slot)) else {
            continue;
        };
        let student = view.term.student(&slot.student);
        let in_sight = student.is_some_and(|student| {
            visitor.sees(&student.section)
                && (filter.section.is_empty() || student.section == filter.section)
        });
        let asked_for = filter.experiment.is_empty() || slot.experiment == filter.experiment;
        if in_sight && asked_for && filter.flag.is_none() && judged.status != Status::Returned {
            let key = (slot.experiment.as_str(), consensus.cause.as_str());
            found.entry(key).or_default().add(consensus, lost);
        }
    }
    let mut causes: Vec<_> = found.into_iter().collect();
    causes.sort_by_key(|(_, losses)| std::cmp::Reverse(losses.points));
    let cause = |((key, cause), losses): ((&str, &str), Losses)| {
        let experiment = view.term.experiments.iter().find(|one| one.key == *key)?;
        Some(Cause {
            experiment: experiment.procedure.title.clone(),
            key: key.to_owned(),
            words: losses.words(cause),
            waiting: counted(losses.percents.len(), "submission", "submissions"),
        })
    };
    causes.into_iter().filter_map(cause).collect()
}

#[derive(Default)]
struct Losses {
    percents: Vec<f64>,
    points: Decimal,
}

impl Losses {
    fn add(&mut self, consensus: &Consensus, points: Decimal) {
        self.percents.push(consensus.percent);
        self.points = self.points.saturating_add(points);
    }

    fn words(&self, cause: &str) -> String {
        let mean = self.percents.iter().sum::<f64>() / self.percents.len().max(1) as f64;
        let percent = from_f64(mean.abs(), 6).map(|p| plain(to_figures(p, 2)));
        let way = if mean > 0.0 { "high" } else { "low" };
        let percent = percent.unwrap_or_default();
        format!("{}: results lie {percent} % {way}.", sentence(cause))
    }
}

/// Points for accuracy that the value assigned costs; none where it costs nothing.
fn lost(view: &Image, slot: &Slot) -> Option<Decimal> {
    let marks = &view.judged.get(slot)?.evaluation.marks;
    let accuracy = marks
        .parts
        .iter()
        .find(|part| part.part == Part::Accuracy)?;
    let lost = accuracy.possible.saturating_sub(accuracy.points);
    (lost > Decimal::ZERO).then_some(lost)
}
