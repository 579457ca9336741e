//! A course as it starts again: its experiments on other dates, without people and without anything they did.

use std::collections::BTreeMap;

use jiff::civil::{Date, DateTime};
use jiff::{Span, SpanRelativeTo};

use super::{Sources, Term};
use crate::course::{Course, Experiment};
use crate::procedure::Dates;

/// What goes into a copy.
#[derive(Clone, Debug)]
pub struct CopyPlan {
    /// The name of the term to come.
    pub term: String,
    /// By how much every date moves.
    pub days: i32,
    /// Lots with their values.
    pub lots: bool,
    /// Unknowns with their values.
    pub unknowns: bool,
}

impl Term {
    /// The day the first experiment opens; none if there is none.
    pub fn first_day(&self) -> Option<Date> {
        self.experiments.iter().map(|e| e.dates.opens.date()).min()
    }

    /// How many days lie between the first experiment's opening and a day.
    pub fn days_to(&self, day: Date) -> Option<i32> {
        let days = self.first_day()?.until(day).ok()?;
        let days = days.total((jiff::Unit::Day, SpanRelativeTo::days_are_24_hours()));
        // whole days between two days
        days.ok().map(|days| days as i32)
    }

    /// The course for another term. Sections are people: their lots and dates stay behind with them.
    pub fn copied(&self, plan: &CopyPlan) -> Self {
        let course = Course {
            term: plan.term.clone(),
            ..self.course.clone()
        };
        let mut copy = Self::new(course, self.glassware.clone());
        let moved = |at: DateTime| {
            let by = Span::new().try_days(plan.days);
            by.map_or(at, |by| at.saturating_add(by))
        };
        let experiment = |e: &Experiment| Experiment {
            dates: Dates {
                opens: moved(e.dates.opens),
                due: moved(e.dates.due),
            },
            section_lots: BTreeMap::new(),
            section_dates: BTreeMap::new(),
            ..e.clone()
        };
        copy.experiments = self.experiments.iter().map(experiment).collect();
        copy.sources = Sources {
            glassware: self.sources.glassware.clone(),
            procedures: self.sources.procedures.clone(),
            experiments: self.sources.experiments.clone(),
            ..Sources::default()
        }
        .into();
        if plan.lots {
            copy.lots = self.lots.clone();
            copy.lots.values_mut().for_each(|lot| lot.version = 1);
            copy.sources.lots = self.sources.lots.clone();
        }
        if plan.unknowns {
            copy.unknowns = self.unknowns.clone();
            let all = copy.unknowns.values_mut().flat_map(|own| own.values_mut());
            all.for_each(|unknown| unknown.version = 1);
            copy.sources.unknowns = self.sources.unknowns.clone();
        }
        copy
    }
}
