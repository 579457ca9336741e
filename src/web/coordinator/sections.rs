//! Sections and assistants beside one another: what sets one apart, in words, and the figures behind it.

use std::sync::Arc;

use askama::Template;
use axum::response::IntoResponse;

use super::audit::words::{decimals, signed_to};
use crate::stats::Difference;
use crate::term::{Beside, Contrast, Habit, Measure, Share, Teaching, Term};
use crate::web::{CoordinatorVisitor, Frame, Page, PageError, PageResult, QueryFields};

#[derive(Template)]
#[template(path = "coordinator/sections.html")]
struct SectionsPage {
    frame: Frame,
    chosen: String,
    experiments: Vec<(String, String)>,
    comparisons: usize,
    apart: Vec<String>,
    reach: String,
    kinds: Vec<OfKind>,
}

/// The sections, or the people.
struct OfKind {
    title: &'static str,
    head: &'static str,
    rows: Vec<Row>,
}

/// One section or person.
struct Row {
    name: String,
    students: usize,
    readings: Option<Cell>,
    by_hand: Option<Cell>,
    decided: usize,
    accepted: String,
    adjusted: String,
    returned: String,
}

/// A mean and its distance from the rest.
struct Cell {
    mean: String,
    difference: Option<DifferenceCell>,
}

/// A distance from the rest, in figures and as a picture.
struct DifferenceCell {
    words: String,
    apart: bool,
    x: String,
    from: String,
    to: String,
}

/// `GET /course/sections`; `?experiment=` looks at one.
pub async fn page(
    visitor: CoordinatorVisitor,
    query: QueryFields,
) -> PageResult<impl IntoResponse> {
    let view = visitor.view().await?;
    let term = &view.term;
    let chosen = query.0.text("experiment");
    if !chosen.is_empty() && term.experiment(chosen).is_none() {
        return Err(PageError::not_found());
    }
    let one = Some(chosen).filter(|key| !key.is_empty());
    let (image, one) = (Arc::clone(&view), one.map(str::to_owned));
    let compare = move || image.term.side_by_side(image.judged.iter(), one.as_deref());
    // of a large course that is much arithmetic: not on a thread that serves pages
    let all = tokio::task::spawn_blocking(compare).await;
    let all = all.map_err(PageError::internal)?;
    let reach = reach(&all);
    let of_kind = |teaching: Teaching, title, head| OfKind {
        title,
        head,
        rows: all
            .iter()
            .filter(|one| one.teaching == teaching)
            .map(|one| row(term, one, reach))
            .collect(),
    };
    let experiments = term.experiments.iter();
    Ok(Page(SectionsPage {
        frame: visitor.frame("Sections side by side"),
        chosen: chosen.to_owned(),
        experiments: experiments
            .map(|e| (e.key.to_string(), e.procedure.title.clone()))
            .collect(),
        comparisons: all.iter().map(comparisons).sum(),
        apart: all
            .iter()
            .filter(|one| !is_said_of_who_teaches(term, one, &all))
            .flat_map(|one| sentences(term, one))
            .collect(),
        reach: decimals(reach, 0),
        kinds: vec![
            of_kind(Teaching::Section, "By section", "Section"),
            of_kind(Teaching::Person, "By who teaches or decides", "Person"),
        ],
    }))
}

/// Whether all that sets a section apart sets apart everybody who teaches it, in the same direction.
fn is_said_of_who_teaches(term: &Term, section: &Beside, all: &[Beside]) -> bool {
    if section.teaching != Teaching::Section {
        return false;
    }
    let teach = |login: &str| {
        let staff = term.staff.iter().find(|s| s.login == login);
        staff.is_some_and(|s| s.sections.iter().any(|one| *one == section.key))
    };
    let teachers = all.iter().filter(|one| one.teaching == Teaching::Person);
    let teachers: Vec<&Beside> = teachers.filter(|one| teach(&one.key)).collect();
    let sign = |contrast: &Contrast| {
        let out = contrast.difference.filter(|_| contrast.stands_out());
        out.map(|difference| difference.value > 0.0)
    };
    let same = |measure: &Measure, contrast: &Contrast| {
        let of = |one: &&Beside| one.marks.get(measure).and_then(sign) == sign(contrast);
        teachers.iter().all(of)
    };
    let mut apart = section.marks.iter().filter(|(_, c)| c.stands_out());
    let habits = section.habits.values().any(Share::stands_out);
    !habits && !teachers.is_empty() && apart.all(|(measure, contrast)| same(measure, contrast))
}

fn comparisons(one: &Beside) -> usize {
    let marks = one.marks.values().filter(|c| c.difference.is_some());
    let habits = one.habits.values().filter(|s| s.p.is_some());
    marks.count().saturating_add(habits.count())
}

fn name(term: &Term, one: &Beside) -> String {
    match one.teaching {
        Teaching::Section => one.key.clone(),
        Teaching::Person => {
            let staff = term.staff.iter().find(|s| s.login == one.key);
            staff.map_or_else(|| one.key.clone(), |s| format!("{} ({})", s.name, s.login))
        }
    }
}

/// What sets a section or a person apart, a sentence each.
fn sentences(term: &Term, one: &Beside) -> Vec<String> {
    let who = match one.teaching {
        Teaching::Section => format!("Section {}", one.key),
        Teaching::Person => name(term, one),
    };
    let mut said = Vec::new();
    for (measure, contrast) in &one.marks {
        let (true, Some(difference)) = (contrast.stands_out(), contrast.difference) else {
            continue;
        };
        let more = if difference.value > 0.0 {
            "more"
        } else {
            "less"
        };
        let by = decimals(difference.value.abs(), 1);
        let [low, high] = difference.interval(0.95);
        let interval = format!("95 % interval {} to {}", tenths(low), tenths(high));
        said.push(match measure {
            Measure::Readings => format!(
                "{who}: students have {by} % of the points {more} than the rest for what they read and reported ({interval}). \
                 Nobody gives these points: look at the audit, and at what is taught."
            ),
            Measure::ByHand => format!(
                "{who}: students are given {by} % of the points {more} by hand than the rest ({interval}).{}",
                beside_readings(one)
            ),
        });
    }
    for (habit, share) in one.habits.iter().filter(|(_, share)| share.stands_out()) {
        let verb = match habit {
            Habit::Accepted => "accepted as they were",
            Habit::Adjusted => "adjusted by points",
            Habit::Returned => "returned to the student",
        };
        said.push(format!(
            "{who}: of {} decisions, {} were {verb}; of the other {}, {} were.",
            one.decided, share.count, share.rest.1, share.rest.0
        ));
    }
    said
}

/// Whether marks by hand may follow from better work.
fn beside_readings(one: &Beside) -> String {
    let readings = one.marks.get(&Measure::Readings);
    let Some(readings) = readings.and_then(|contrast| contrast.difference) else {
        return String::new();
    };
    let by = tenths(readings.value);
    if readings.p < 0.05 {
        format!(" What they read differs too, by {by} %: it may be the work and not the hand.")
    } else {
        format!(
            " What they read does not differ by more than chance ({by} %): it looks like the hand, not the work."
        )
    }
}

fn tenths(percent: f64) -> String {
    signed_to(percent, 1).trim().to_owned()
}

/// How far the pictures reach, in percent of the points.
fn reach(all: &[Beside]) -> f64 {
    let differences = all.iter().flat_map(|one| one.marks.values());
    let ends = differences.filter_map(|c| c.difference).map(|d| {
        let [low, high] = d.interval(0.95);
        low.abs().max(high.abs())
    });
    let most = ends.fold(0.0, f64::max);
    let reaches = [5.0, 10.0, 20.0, 50.0];
    reaches
        .into_iter()
        .find(|reach| *reach >= most)
        .unwrap_or(100.0)
}

fn row(term: &Term, one: &Beside, reach: f64) -> Row {
    let cell = |measure: Measure| {
        one.marks
            .get(&measure)
            .map(|contrast| cell(contrast, reach))
    };
    let share = |habit: Habit| match one.habits.get(&habit) {
        Some(share) if one.decided > 0 => of_decisions(share, one.decided),
        _ => "–".to_owned(),
    };
    let mut adjusted = share(Habit::Adjusted);
    if let Some(mean) = one.mean_adjustment {
        adjusted.push_str(&format!(
            ", by {} points on average",
            signed_to(mean, 2).trim()
        ));
    }
    Row {
        name: name(term, one),
        students: one.students,
        readings: cell(Measure::Readings),
        by_hand: cell(Measure::ByHand),
        decided: one.decided,
        accepted: share(Habit::Accepted),
        adjusted,
        returned: share(Habit::Returned),
    }
}

fn of_decisions(share: &Share, decided: usize) -> String {
    let percent = 100.0 * share.count as f64 / decided as f64;
    let apart = if share.stands_out() { ", apart" } else { "" };
    format!("{} ({} %{apart})", share.count, decimals(percent, 0))
}

fn cell(contrast: &Contrast, reach: f64) -> Cell {
    Cell {
        mean: decimals(contrast.mean, 1),
        difference: contrast
            .difference
            .map(|difference| difference_cell(contrast, &difference, reach)),
    }
}

fn difference_cell(contrast: &Contrast, difference: &Difference, reach: f64) -> DifferenceCell {
    let [low, high] = difference.interval(0.95);
    let x = |value: f64| {
        let share = 50.0 + 48.0 * value / reach;
        format!("{}%", decimals(share.clamp(0.5, 99.5), 2))
    };
    let half = decimals(high - difference.value, 1);
    let by = tenths(difference.value);
    let apart = contrast.stands_out();
    DifferenceCell {
        words: format!("{by} \u{b1} {half}{}", if apart { ", apart" } else { "" }),
        apart,
        x: x(difference.value),
        from: x(low),
        to: x(high),
    }
}
