//! Lists and sheets to print: who gets which bottle, blank sheets for the bench, an assistant's list of a section. No true
//! value is on any of them.

use std::collections::BTreeMap;

use askama::Template;
use axum::response::IntoResponse;

use super::qr::{Qr, bottle_address, qr};
use super::record::BATCH;
use crate::columns::Column;
use crate::course::{Experiment, Student};
use crate::ids::{ExperimentKey, LotCode};
use crate::measure::plain;
use crate::procedure::Procedure;
use crate::submission::TrialLabel;
use crate::term::{Slot, Term};
use crate::truth::Bottle;
use crate::web::at::ExperimentAt;
use crate::web::changing::notice;
use crate::web::parts::{Parts, from_to};
use crate::web::{
    AssistantVisitor, Fields, Frame, Page, PageResult, PrepVisitor, PublicAddress, QueryFields,
    dates,
};

#[derive(Template)]
#[template(path = "prep/issue-list.html")]
struct IssueListPage {
    frame: Frame,
    title: String,
    back: String,
    all_sections: Vec<String>,
    section: String,
    first_bench: String,
    order: &'static str,
    groups: bool,
    sections: Vec<Section>,
    parts: Parts,
}

#[derive(Template)]
#[template(path = "prep/section-sheet.html")]
struct SectionSheetPage {
    frame: Frame,
    title: String,
    key: ExperimentKey,
    /// Most points by hand; none where the marking has none.
    points: Option<String>,
    groups: bool,
    sections: Vec<Section>,
    parts: Parts,
}

#[derive(Template)]
#[template(path = "prep/bench-sheets.html")]
struct BenchSheetsPage {
    frame: Frame,
    title: String,
    back: String,
    /// Where the labels are; none for who has them not to print.
    labels: Option<String>,
    /// The issue list, where it is printed with the sheets.
    lists: Vec<Section>,
    sheets: Vec<BenchSheet>,
    parts: Parts,
    tables: Vec<SheetTable>,
    unit: &'static str,
    cautions: Vec<String>,
    waste: String,
    instrument: &'static str,
    uses_lot: bool,
    uses_excess: bool,
}

/// A section and who is in it.
struct Section {
    name: String,
    /// What the others' work shows, for whoever teaches this one.
    learned: Option<String>,
    due: String,
    lots: String,
    students: Vec<Given>,
}

/// A student with a bottle.
struct Given {
    bench: Option<u32>,
    id: String,
    name: String,
    bottle: Option<String>,
    group: String,
}

/// A sheet for one bench.
struct BenchSheet {
    due: String,
    name: String,
    id: String,
    section: String,
    bottle: String,
    lot: String,
    excess: String,
    qr: Option<Qr>,
}

/// The boxes of rows that read the same columns.
struct SheetTable {
    columns: Vec<String>,
    rows: Vec<String>,
}

/// Most sheets on a page: each carries a picture of its code.
const MOST_SHEETS: usize = 40;

/// How benches are numbered and in which order.
struct Benches {
    first: Option<u32>,
    by_roster: bool,
}

/// `GET /prep/experiments/{key}/issue-list`: `?section=`, `?bench=` (number of the first), `?order=roster`.
pub async fn issue_list(
    visitor: PrepVisitor,
    key: ExperimentAt,
    query: QueryFields,
) -> PageResult<impl IntoResponse> {
    let view = visitor.view().await?;
    let term = &view.term;
    let experiment = key.of(term)?;
    let benches = Benches::of(&query.0);
    let wanted = query.0.text("section");
    let today = term.course.zone.local(visitor.now()).date();
    let mut sections = of_sections(term, (experiment, today), &benches, |section| {
        wanted.is_empty() || section == wanted
    });
    let parts = in_parts(&mut sections, &query.0);
    Ok(Page(IssueListPage {
        frame: visitor.frame("Issue list"),
        title: experiment.procedure.title.clone(),
        back: format!("/prep/experiments/{key}"),
        all_sections: term.sections().into_iter().map(str::to_owned).collect(),
        section: wanted.to_owned(),
        first_bench: benches.first.map(|n| n.to_string()).unwrap_or_default(),
        order: if benches.by_roster { "roster" } else { "name" },
        groups: has_groups(term, &key),
        sections,
        parts,
    }))
}

/// `GET /sheets/{experiment}`: an assistant's list of their sections.
pub async fn section(
    visitor: AssistantVisitor,
    key: ExperimentAt,
    query: QueryFields,
) -> PageResult<impl IntoResponse> {
    let view = visitor.view().await?;
    let term = &view.term;
    let experiment = key.of(term)?;
    let wanted = query.0.text("section");
    let today = term.course.zone.local(visitor.now()).date();
    let benches = Benches::of(&query.0);
    let mut sections = of_sections(term, (experiment, today), &benches, |section| {
        visitor.sees(section) && (wanted.is_empty() || section == wanted)
    });
    let parts = in_parts(&mut sections, &query.0);
    for one in &mut sections {
        one.learned = term.learned_elsewhere(&view.judged, &key, &one.name);
    }
    Ok(Page(SectionSheetPage {
        frame: visitor.frame("Section sheet"),
        title: experiment.procedure.title.clone(),
        points: experiment.procedure.marking.by_hand.map(plain),
        groups: has_groups(term, &key),
        sections,
        parts,
        key: key.into_key(),
    }))
}

/// `GET /prep/experiments/{key}/bench-sheets`: `?section=` for one, `?blank=` for so many without a name, `?lists=yes` for
/// the issue list as well.
pub async fn bench(
    visitor: PrepVisitor,
    key: ExperimentAt,
    PublicAddress(server): PublicAddress,
    query: QueryFields,
) -> PageResult<impl IntoResponse> {
    let view = visitor.view().await?;
    let frame = visitor.frame("Bench sheets");
    let back = format!("/prep/experiments/{key}");
    let mut page = bench_sheets(&view.term, &key, (frame, back), &server, &query.0, |_| true)?;
    page.0.labels = Some(format!("/prep/experiments/{key}/labels"));
    if !query.0.text("lists").is_empty() {
        let today = view.term.course.zone.local(visitor.now()).date();
        let wanted = query.0.text("section");
        let of = (key.of(&view.term)?, today);
        page.0.lists = of_sections(&view.term, of, &Benches::of(&query.0), |section| {
            wanted.is_empty() || section == wanted
        });
        page.0.frame.title = "Print pack".to_owned();
        page.0.frame.notice = notice(&query.0, &[&BATCH]);
    }
    Ok(page)
}

/// `GET /sheets/{experiment}/bench`: the same for an assistant's sections.
pub async fn bench_of_assistant(
    visitor: AssistantVisitor,
    key: ExperimentAt,
    PublicAddress(server): PublicAddress,
    query: QueryFields,
) -> PageResult<impl IntoResponse> {
    let view = visitor.view().await?;
    let frame = visitor.frame("Bench sheets");
    let back = format!("/sheets/{key}");
    bench_sheets(
        &view.term,
        &key,
        (frame, back),
        &server,
        &query.0,
        |section| visitor.sees(section),
    )
}

impl Benches {
    fn of(query: &Fields) -> Self {
        Self {
            first: query.text("bench").parse().ok().filter(|n| *n < 10_000),
            by_roster: query.text("order") == "roster",
        }
    }
}

/// Sections of about 600 students on a page.
fn in_parts(sections: &mut Vec<Section>, query: &Fields) -> Parts {
    const MOST: usize = 600;
    let size = |section: &Section| section.students.len();
    Parts::cut(sections, MOST, query, size, |first, last| {
        from_to(&first.name, &last.name)
    })
}

fn has_groups(term: &Term, key: &ExperimentKey) -> bool {
    term.groups.keys().any(|slot| slot.experiment == key)
}

fn of_sections(
    term: &Term,
    (experiment, today): (&Experiment, jiff::civil::Date),
    benches: &Benches,
    wanted: impl Fn(&str) -> bool,
) -> Vec<Section> {
    let key = &experiment.key;
    let of = |section: &str| {
        let students = students(term, section, benches.by_roster);
        let given = (0_u32..).zip(students).map(|(place, student)| {
            let slot = Slot::new(key, &student.id);
            Given {
                bench: benches.first.map(|first| first.saturating_add(place)),
                id: student.id.to_string(),
                name: student.to_string(),
                bottle: term.issued.get(&slot).map(ToString::to_string),
                group: term.groups.get(&slot).cloned().unwrap_or_default(),
            }
        });
        let lots = term.default_lots(experiment, section);
        let lots = [lots.titrant, lots.excess].into_iter().flatten();
        let lots: Vec<String> = lots.map(|lot| with_warning(term, lot, today)).collect();
        Section {
            name: section.to_owned(),
            learned: None,
            due: dates::local(experiment.dates_in(section).due),
            lots: lots.join(", "),
            students: given.collect(),
        }
    };
    let sections = term.sections().into_iter();
    sections.filter(|section| wanted(section)).map(of).collect()
}

/// A lot's code, with a word of warning where it is near its day or past it.
fn with_warning(term: &Term, lot: LotCode, today: jiff::civil::Date) -> String {
    let life = term.shelf.get(&Bottle::Lot(lot.clone()));
    match life.and_then(|life| life.keeping(today).words()) {
        Some(words) => format!("{lot} ({words})"),
        None => lot.to_string(),
    }
}

fn students<'t>(term: &'t Term, section: &str, by_roster: bool) -> Vec<&'t Student> {
    let of_section = |student: &&Student| student.section == section;
    if by_roster {
        term.enrolled().filter(of_section).collect()
    } else {
        term.enrolled_of(section)
    }
}

fn bench_sheets(
    term: &Term,
    key: &ExperimentAt,
    (frame, back): (Frame, String),
    server: &str,
    query: &Fields,
    sees: impl Fn(&str) -> bool,
) -> PageResult<Page<BenchSheetsPage>> {
    let experiment = key.of(term)?;
    let procedure = &experiment.procedure;
    let wanted = query.text("section");
    let mut sheets = Vec::new();
    let mut parts = Parts::default();
    let blank: usize = query.text("blank").parse().unwrap_or(0);
    for _ in 0..blank.min(60) {
        sheets.push(BenchSheet {
            due: dates::local(experiment.dates.due),
            name: String::new(),
            id: String::new(),
            section: String::new(),
            bottle: String::new(),
            lot: String::new(),
            excess: String::new(),
            qr: None,
        });
    }
    if blank == 0 {
        let sections = term.sections().into_iter();
        let sections = sections.filter(|s| sees(s) && (wanted.is_empty() || *s == wanted));
        let all = sections.flat_map(|section| students(term, section, false));
        let mut all: Vec<(usize, &Student)> = all.enumerate().collect();
        parts = Parts::cut(
            &mut all,
            MOST_SHEETS,
            query,
            |_| 1,
            |first, last| {
                let (first, last) = (first.0.saturating_add(1), last.0.saturating_add(1));
                from_to(&first.to_string(), &last.to_string())
            },
        );
        let students = all.into_iter().map(|(_, student)| student);
        let mut by_section: BTreeMap<&str, Vec<&Student>> = BTreeMap::new();
        for student in students {
            by_section
                .entry(&student.section)
                .or_default()
                .push(student);
        }
        for (section, students) in by_section {
            let lots = term.default_lots(experiment, section);
            for student in students {
                let bottle = term.issued.get(&Slot::new(key, &student.id));
                let address = bottle.map(|code| bottle_address(server, key, code));
                sheets.push(BenchSheet {
                    due: dates::local(experiment.dates_in(section).due),
                    name: student.to_string(),
                    id: student.id.to_string(),
                    section: section.to_owned(),
                    qr: address.and_then(|address| qr(&address)),
                    bottle: bottle.map(ToString::to_string).unwrap_or_default(),
                    lot: lots.titrant.as_deref().unwrap_or_default().to_owned(),
                    excess: lots.excess.as_deref().unwrap_or_default().to_owned(),
                });
            }
        }
    }
    Ok(Page(BenchSheetsPage {
        frame,
        title: procedure.title.clone(),
        back,
        labels: None,
        lists: Vec::new(),
        sheets,
        parts,
        tables: tables(procedure),
        unit: procedure.result.unit.name(),
        cautions: procedure.text.cautions.clone(),
        waste: procedure.text.waste.clone(),
        instrument: if procedure.burette().is_some() {
            "Burette no."
        } else {
            "Instrument no."
        },
        uses_lot: procedure.uses_titrant_lot(),
        uses_excess: procedure.uses_excess_lot(),
    }))
}

/// The rows a student may need, those that read the same columns together: standards, a blank, the rough trial, and two
/// trials more than the fewest asked for.
fn tables(procedure: &Procedure) -> Vec<SheetTable> {
    let mut rows = procedure.rows_before_trials();
    let most = procedure.trials.minimum.saturating_add(2);
    rows.extend((1..=most).map(TrialLabel::Numbered));
    let mut tables: Vec<SheetTable> = Vec::new();
    for row in rows {
        let columns = Column::of_row(procedure, row, 1).into_iter();
        let columns: Vec<String> = columns.map(Column::label).collect();
        let name = match row {
            TrialLabel::Numbered(n) => format!("Trial {n}"),
            TrialLabel::Rough => "Rough".to_owned(),
            TrialLabel::Blank => "Blank".to_owned(),
            TrialLabel::Standard(n) => format!("Standard {n}"),
        };
        match tables.last_mut().filter(|table| table.columns == columns) {
            Some(table) => table.rows.push(name),
            None => tables.push(SheetTable {
                columns,
                rows: vec![name],
            }),
        }
    }
    tables
}
