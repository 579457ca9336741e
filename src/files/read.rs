//! A course folder read into a term.

use std::borrow::Cow;
use std::collections::{BTreeMap, HashSet};

use super::arrangements::{read_issued, read_releases};
use super::bottles::{read_lots, read_unknowns};
use super::course_file::{CourseFile, ExperimentEntry, read_course};
use super::folder::Folder;
use super::glassware_file::read_glassware;
use super::hand_ins::{assemble, read_reported};
use super::people::read_roster;
use super::prep_room::{Bench, read_prep_room};
use super::readings_file::{Drafts, read_readings};
use super::set_aside::{Aside, AsideRow};
use super::shelf::Shelf;
use super::shipped::shipped_glassware;
use super::tables::plain_csv;
use crate::changes::Change;
use crate::course::{Experiment, SectionLots};
use crate::ids::{ExperimentKey, LotCode, UnknownCode};
use crate::measure::GlasswareTable;
use crate::procedure::Procedure;
use crate::term::{BySlot, CopyOnWrite, Sources, Term};
use crate::text::{Fault, Known, decode, found};
use crate::truth::{Bottle, Lot, ShelfLife, Unknown};
use crate::words::listed;

const FILES: [&str; 16] = [
    "course.toml",
    "roster.csv",
    "staff.csv",
    "lots.csv",
    "unknowns.csv",
    "prep-room.toml",
    "glassware.toml",
    "issued.csv",
    "groups.csv",
    "reported.csv",
    "by-hand.csv",
    "decisions.csv",
    "releases.csv",
    "extensions.csv",
    "amendments.csv",
    "notes.csv",
];

/// Reads a course folder.
///
/// # Errors
/// Every [`Fault`] of every file, in order of file and line. Nothing is returned if there is any.
pub fn read_term(folder: &Folder) -> Result<Term, Vec<Fault>> {
    read(folder, None)
}

/// As [`read_term`], with rows of readings and answers that cannot be read set aside: what is kept of them in the term,
/// and all of them.
pub fn read_term_set_aside(folder: &Folder) -> Result<(Term, Vec<AsideRow>), Vec<Fault>> {
    let mut aside = Vec::new();
    let mut term = read(folder, Some(&mut aside))?;
    for row in aside.iter().filter_map(AsideRow::change) {
        let kept = term.set_aside.get(&row.slot);
        if !kept.is_some_and(|rows| rows.contains(&row.body)) {
            term.apply(&Change::from(row), None);
        }
    }
    Ok((term, aside))
}

fn read<'f>(folder: &'f Folder, aside: Aside<'f>) -> Result<Term, Vec<Fault>> {
    let mut reader = Reader {
        folder,
        known: Known::default(),
        faults: Vec::new(),
        aside,
    };
    let term = reader.term();
    let mut faults = reader.faults;
    faults.sort();
    faults.dedup();
    match term {
        Some(term) if faults.is_empty() => Ok(term),
        _ => Err(faults),
    }
}

/// What to say of a file that is not there: where others of its name are, if any.
fn missing(folder: &Folder, needed: &str) -> String {
    let name = |path: &&str| {
        let name = path.rsplit('/').next().unwrap_or_default();
        name.eq_ignore_ascii_case(needed)
    };
    let others = folder.files().map(|(path, _)| path).filter(name);
    let others: Vec<String> = others
        .map(|path| format!("\u{201c}{path}\u{201d}"))
        .collect();
    match others.as_slice() {
        [] => "found no such file, expected one".to_owned(),
        others => format!(
            "found {}, expected one file of this name, in small letters, outside any other folder",
            listed(others)
        ),
    }
}

struct Reader<'f> {
    folder: &'f Folder,
    known: Known,
    faults: Vec<Fault>,
    /// Where rows go that cannot be read.
    aside: Aside<'f>,
}

impl<'f> Reader<'f> {
    fn term(&mut self) -> Option<Term> {
        for needed in ["course.toml", "roster.csv"] {
            if self.folder.get(needed).is_none() {
                let what = missing(self.folder, needed);
                self.faults.push(Fault::of_file(needed, what));
            }
        }
        let own_glassware = self.text("glassware.toml");
        let glassware = self.glassware(own_glassware.as_deref());
        let shelf = Shelf::of_folder(self.folder, &glassware);
        if let Some(roster) = self.plain("roster.csv") {
            let students = read_roster(&roster, &mut self.known, &mut self.faults);
            let course = self.course();
            let term = self.of_roster(students, course, &shelf);
            let (procedures, faults) = shelf.into_texts();
            self.faults.extend(faults);
            let mut term = term?;
            term.sources.procedures = procedures;
            term.sources.glassware = own_glassware;
            term.glassware = glassware.into();
            return Some(term);
        }
        self.course();
        self.faults.extend(shelf.into_texts().1);
        None
    }

    fn of_roster(
        &mut self,
        students: Vec<crate::course::Student>,
        course: Option<CourseFile>,
        shelf: &Shelf,
    ) -> Option<Term> {
        let (course, entries) = match course {
            Some(file) => (Some(file.course), file.experiments),
            None => (None, Vec::new()),
        };
        let procedures = self.procedures(&entries, shelf);
        let bottles = self.bottles(&procedures, course.is_some(), shelf);
        let by_hand = procedures.iter().filter_map(|(key, procedure)| {
            let most = procedure.as_ref()?.marking.by_hand;
            Some((key.clone(), most))
        });
        self.known.by_hand = by_hand.collect();
        let known = &self.known;
        let faults = &mut self.faults;
        let folder = self.folder;
        let mut aside = self.aside.as_deref_mut();
        let issued = folder
            .get("issued.csv")
            .map(|bytes| read_issued(bytes, known, faults));
        let mut answers = folder
            .get("reported.csv")
            .map(|bytes| read_reported(bytes, known, aside.as_deref_mut(), faults))
            .unwrap_or_default();
        let mut submissions = BySlot::new();
        for entry in &entries {
            let procedure = procedures.get(&entry.key).and_then(Option::as_ref);
            let mut drafts = |kind: &str, superseded: bool| -> Drafts {
                let path = format!("{kind}/{}.csv", entry.key);
                match (folder.get(&path), procedure) {
                    (Some(bytes), Some(procedure)) => {
                        let bytes = match plain_csv(&path, bytes) {
                            Ok(bytes) => bytes,
                            Err(fault) => {
                                faults.push(fault);
                                return Drafts::new();
                            }
                        };
                        let aside = match superseded {
                            true => None,
                            false => aside.as_deref_mut(),
                        };
                        let named = (&entry.key, path.as_str());
                        read_readings(named, &bytes, procedure, known, superseded, aside, faults)
                    }
                    _ => Drafts::new(),
                }
            };
            let (current, superseded) = (drafts("readings", false), drafts("superseded", true));
            if procedure.is_some() {
                submissions.extend(assemble(
                    &entry.key,
                    current,
                    superseded,
                    &mut answers,
                    faults,
                ));
            }
        }
        let released = folder
            .get("releases.csv")
            .map(|bytes| read_releases(bytes, known, faults));
        let mut rows = Vec::new();
        for name in Change::files() {
            if let Some(bytes) = folder.get(name) {
                rows.extend(Change::read_file(name, bytes, known, faults));
            }
        }
        self.names();
        self.sections_named(&entries);
        let (lots, unknowns, shelf, records) = bottles;
        let mut sources = records;
        let mut experiments = Vec::new();
        for entry in entries {
            sources.experiments.insert(entry.key.clone(), entry.source);
            experiments.push(Experiment {
                procedure: procedures.get(&entry.key)?.clone()?,
                key: entry.key,
                dates: entry.dates,
                section_lots: entry.section_lots,
                section_dates: entry.section_dates,
            });
        }
        let mut term = Term::new(course?, GlasswareTable::default());
        term.experiments = experiments.into();
        term.students = students.into();
        term.lots = lots.into();
        term.unknowns = unknowns;
        term.shelf = shelf.into();
        (term.issued, term.reissued) = issued.unwrap_or_default();
        term.submissions = submissions;
        term.released = released.unwrap_or_default();
        term.sources = sources.into();
        rows.iter().for_each(|change| term.apply(change, None));
        number_decisions(&mut term);
        Some(term)
    }

    fn bytes(&self, path: &str) -> Option<&'f [u8]> {
        self.folder.get(path)
    }

    /// A CSV file that people save with their own programs, as we write it.
    fn plain(&mut self, path: &str) -> Option<Cow<'f, [u8]>> {
        let bytes = self.bytes(path)?;
        plain_csv(path, bytes)
            .map_err(|fault| self.faults.push(fault))
            .ok()
    }

    fn text(&mut self, path: &str) -> Option<String> {
        let bytes = self.bytes(path)?;
        decode(path, bytes)
            .map(str::to_owned)
            .map_err(|fault| self.faults.push(fault))
            .ok()
    }

    fn glassware(&mut self, own: Option<&str>) -> GlasswareTable {
        let mut table = shipped_glassware();
        match own.map(|text| read_glassware("glassware.toml", text)) {
            Some(Ok(own)) => own.iter().for_each(|piece| table.insert(piece.clone())),
            Some(Err(more)) => self.faults.extend(more),
            None => {}
        }
        table
    }

    fn course(&mut self) -> Option<CourseFile> {
        let text = self.text("course.toml")?;
        let mut keys = HashSet::new();
        let read = read_course("course.toml", &text, &mut keys);
        match read {
            Ok(course) => {
                self.known.experiments = Some(keys);
                if let Some(sections) = &mut self.known.sections {
                    sections.extend(course.empty_sections.iter().cloned());
                }
                Some(course)
            }
            Err(more) => {
                self.faults.extend(more);
                None
            }
        }
    }

    /// The procedure of each experiment, with its own tables; none where it has faults.
    fn procedures(
        &mut self,
        entries: &[ExperimentEntry],
        shelf: &Shelf,
    ) -> BTreeMap<ExperimentKey, Option<Procedure>> {
        let mut all = BTreeMap::new();
        for entry in entries {
            let procedure = shelf.get(&entry.source.procedure).unwrap_or_else(|what| {
                let fault = Fault::of_file("course.toml", what).at(entry.procedure_line);
                self.faults.push(fault.in_column("experiment.procedure"));
                None
            });
            let own = procedure.map(|p| p.with(entry.trials.clone(), entry.marking.clone()));
            all.insert(entry.key.clone(), own);
        }
        all
    }

    #[allow(clippy::type_complexity)]
    fn bottles(
        &mut self,
        procedures: &BTreeMap<ExperimentKey, Option<Procedure>>,
        course: bool,
        shelf: &Shelf,
    ) -> (
        BTreeMap<LotCode, Lot>,
        BTreeMap<ExperimentKey, CopyOnWrite<BTreeMap<UnknownCode, Unknown>>>,
        BTreeMap<Bottle, ShelfLife>,
        Sources,
    ) {
        let mut sources = Sources::default();
        let before = self.faults.len();
        let lots = self
            .bytes("lots.csv")
            .map(|bytes| read_lots(bytes, &mut self.faults));
        let lots_complete = self.faults.len() == before;
        let before = self.faults.len();
        let stated = self
            .bytes("unknowns.csv")
            .map(|bytes| read_unknowns(bytes, &self.known, &mut self.faults));
        let mut complete = (lots_complete, self.faults.len() == before);
        let mut lives = BTreeMap::new();
        let mut lots: BTreeMap<LotCode, Lot> = lots
            .into_iter()
            .flatten()
            .map(|(lot, life)| {
                lives.insert(Bottle::Lot(lot.code.clone()), life);
                (lot.code.clone(), lot)
            })
            .collect();
        let mut unknowns: BTreeMap<ExperimentKey, CopyOnWrite<BTreeMap<UnknownCode, Unknown>>> =
            BTreeMap::new();
        let mut stated_unknowns = HashSet::new();
        for (experiment, unknown, life) in stated.into_iter().flatten() {
            lives.insert(Bottle::unknown(&experiment, &unknown.code), life);
            stated_unknowns.insert((experiment.clone(), unknown.code.to_ascii_lowercase()));
            unknowns
                .entry(experiment)
                .or_default()
                .insert(unknown.code.clone(), unknown);
        }
        if let Some(text) = self.text("prep-room.toml") {
            let results = procedures
                .iter()
                .filter_map(|(key, p)| Some((key.clone(), p.as_ref()?.result.clone())));
            let results: BTreeMap<_, _> = results.collect();
            let bench = Bench {
                glassware: shelf.glassware(),
                shelf,
                all_results: course && results.len() == procedures.len(),
                results,
                stated_lots: lots.keys().cloned().collect(),
                stated_unknowns,
            };
            match read_prep_room("prep-room.toml", &text, &bench) {
                Ok(room) => {
                    lives.extend(room.shelf);
                    for (lot, record) in room.lots {
                        sources.lots.insert(lot.code.clone(), record);
                        lots.insert(lot.code.clone(), lot);
                    }
                    for (experiment, unknown, record) in room.unknowns {
                        sources
                            .unknowns
                            .insert((experiment.clone(), unknown.code.clone()), record);
                        unknowns
                            .entry(experiment)
                            .or_default()
                            .insert(unknown.code.clone(), unknown);
                    }
                }
                Err(more) => {
                    self.faults.extend(more);
                    complete = (false, false);
                }
            }
        } else if self.bytes("prep-room.toml").is_some() {
            complete = (false, false);
        }
        if complete.0 {
            self.known.lots = Some(lots.keys().cloned().collect());
        }
        if complete.1 && course {
            let pairs = unknowns.iter().flat_map(|(experiment, codes)| {
                codes.keys().map(|code| (experiment.clone(), code.clone()))
            });
            self.known.unknowns = Some(pairs.collect());
        }
        lives.retain(|_, life| !life.is_empty());
        (lots, unknowns, lives, sources)
    }

    /// Files that nobody would read: a name that is not known may be a slip.
    fn names(&mut self) {
        let mut names = FILES.to_vec();
        names.extend(Change::files());
        let mut once = HashSet::new();
        names.retain(|name| once.insert(*name));
        for (path, _) in self.folder.files() {
            let by_key = ["readings/", "superseded/"]
                .iter()
                .find_map(|folder| path.strip_prefix(folder)?.strip_suffix(".csv"));
            let procedure = path
                .strip_prefix("procedures/")
                .is_some_and(|name| name.ends_with(".toml") && !name.contains('/'));
            if let Some(key) = by_key {
                if let Err(what) = self.known.experiment(key) {
                    self.faults.push(Fault::of_file(path, what));
                }
            } else if is_spreadsheet(path) {
                let what = "this is a spreadsheet file, and a number in it has no zeros at its end: keep its columns as text, save its sheet as \u{201c}CSV UTF-8\u{201d} and send that";
                self.faults.push(Fault::of_file(path, what));
            } else if !procedure && !names.contains(&path) && !Folder::is_ignored(path) {
                let expected = format!(
                    "only {}, readings/KEY.csv, superseded/KEY.csv and procedures/KEY.toml",
                    FILES.join(", ")
                );
                self.faults
                    .push(Fault::of_file(path, found(path, &expected)));
            }
        }
    }

    /// Sections with lots or dates of their own, and their lots, are held against what the other files say.
    fn sections_named(&mut self, entries: &[ExperimentEntry]) {
        for entry in entries {
            let mut faults = Vec::new();
            let mut hold = |line: Option<&u64>, column: &str, what: Option<String>| {
                let fault = |what| Fault::of_file("course.toml", what).in_column(column);
                let line = line.copied().unwrap_or(1);
                faults.extend(what.map(|what| fault(what).at(line)));
            };
            for (section, SectionLots { titrant, excess }) in &entry.section_lots {
                let line = entry.section_lines.get(section);
                for lot in [titrant, excess].into_iter().flatten() {
                    hold(line, "experiment.section_lots", self.known.lot(lot).err());
                }
                hold(
                    line,
                    "experiment.section_lots",
                    self.known.section(section).err(),
                );
            }
            for (section, line) in &entry.date_lines {
                hold(
                    Some(line),
                    "experiment.section_dates",
                    self.known.section(section).err(),
                );
            }
            self.faults.extend(faults);
        }
    }
}

fn is_spreadsheet(path: &str) -> bool {
    let ends = [".xlsx", ".ods", ".xls"];
    ends.iter().any(|end| path.to_lowercase().ends_with(end))
}

/// A decision that does not say which revision it was made on was made on the last.
fn number_decisions(term: &mut Term) {
    let mut decisions = std::mem::take(&mut term.decisions);
    for (slot, decisions) in decisions.iter_mut() {
        let revisions = term
            .handed_in_by(slot)
            .map_or(0, |(_, revisions)| revisions.len());
        for decision in decisions.iter_mut().filter(|d| d.revision == 0) {
            decision.revision = u32::try_from(revisions).unwrap_or(u32::MAX);
        }
    }
    term.decisions = decisions;
}
