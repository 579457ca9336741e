//! `prep-room.toml`: lots and unknowns given by what was weighed, made up, diluted or standardised.
//!
//! ```toml
//! [[lot]]
//! lot = "E-1"
//! reagent = "C10H14N2O8^2-"
//!
//! [lot.prepared]
//! weighed_g = "3.7224"                  # as the balance displayed it
//! balance = "balance-0.1mg"
//! formula = "C10H14N2Na2O8.2H2O"        # as weighed, with its water
//! purity = "0.995"                      # mass fraction, default 1
//! purity_half_width = "0.002"           # default 0
//! temperature_C = "4"                   # how far from 20 °C, default 0; so the next two
//! repeatability_mL = "0.02"             # standard deviation of filling to a mark
//! repeatability_g = "0.00005"           # standard deviation of a mass
//! flask = "flask-1000-a"
//! dilutions = [{ pipette = "pipette-50-a", flask = "flask-250-a" }]
//!
//! [[lot]]
//! lot = "N-2"
//! reagent = "NaOH"
//!
//! [lot.standardised]
//! procedure = "naoh-against-khp"        # a standardisation with a result in mol/L
//! titrations = [
//!   { sample_before_g = "12.3456", sample_after_g = "11.8342", burette_start_mL = "0.10", burette_end_mL = "25.14" },
//! ]
//!
//! [[unknown]]
//! experiment = "hardness"
//! unknown = "U07"
//!
//! [unknown.prepared]                    # as for a lot; a solid mixture has total_g and no flask
//! weighed_g = "0.5004"
//! balance = "balance-0.1mg"
//! formula = "CaCO3"
//! flask = "flask-1000-a"
//! ```
//! A part of a dilution may be taken with a burette, `{ burette = "burette-50-a", volume_mL = "31.20", flask = … }`, and a
//! solution of known molarity may stand in place of what was weighed: `formula`, `stock_mol_per_L`,
//! `stock_standard_uncertainty_mol_per_L` and dilutions.
//!
//! Both kinds take an optional `version` of the value, from 1, and the days on which it was `made` and `expires`.

use std::collections::{BTreeMap, HashSet};

use super::prep_record::{preparation, standardised};
use super::shelf::Shelf;
use crate::ids::{ExperimentKey, LotCode, UnknownCode};
use crate::measure::GlasswareTable;
use crate::procedure::ResultSpec;
use crate::term::Term;
use crate::text::{Fault, Section, Toml, day, found, line_of_text};
use crate::truth::{Assigned, Bottle, Lot, Sealed, ShelfLife, Unknown};
use crate::workup::{Preparation, Recorded};

/// Lots and unknowns with their records.
#[derive(Clone, Debug, Default)]
pub struct PrepRoom {
    /// Each with its record, for [`crate::term::Sources::lots`].
    pub lots: Vec<(Lot, String)>,
    /// Each with its experiment and its record, for [`crate::term::Sources::unknowns`].
    pub unknowns: Vec<(ExperimentKey, Unknown, String)>,
    /// What each record comes to.
    pub recorded: BTreeMap<Bottle, Recorded>,
    /// Days of those that have any, for [`crate::term::Term::shelf`].
    pub shelf: BTreeMap<Bottle, ShelfLife>,
    /// Texts of the procedures that standardisations used, by key, for [`crate::term::Sources::procedures`].
    pub procedures: BTreeMap<String, String>,
}

/// What preparation records refer to.
pub(super) struct Bench<'b> {
    pub glassware: &'b GlasswareTable,
    pub shelf: &'b Shelf<'b>,
    /// By experiment; experiments that could not be read are missing.
    pub results: BTreeMap<ExperimentKey, ResultSpec>,
    /// Whether every experiment could be read.
    pub all_results: bool,
    pub stated_lots: HashSet<LotCode>,
    /// Experiments and lower-case codes of `unknowns.csv`.
    pub stated_unknowns: HashSet<(ExperimentKey, String)>,
}

/// Reads records that are added to a term, such as one entered in a form.
///
/// # Errors
/// Every [`Fault`] of the text. A code that the term has already is none: the record then corrects it.
pub fn read_prep_records(file: &str, text: &str, term: &Term) -> Result<PrepRoom, Vec<Fault>> {
    let shelf = Shelf::of_texts(term.sources.procedures.clone(), &term.glassware);
    let results = term
        .experiments
        .iter()
        .map(|e| (e.key.clone(), e.procedure.result.clone()));
    let bench = Bench {
        glassware: &term.glassware,
        shelf: &shelf,
        results: results.collect(),
        all_results: true,
        stated_lots: HashSet::new(),
        stated_unknowns: HashSet::new(),
    };
    let room = read_prep_room(file, text, &bench);
    let procedures = shelf.into_texts().0;
    room.map(|room| PrepRoom { procedures, ..room })
}

/// Reads the file; the texts of the procedures stay on the shelf.
pub(super) fn read_prep_room(
    file: &str,
    text: &str,
    bench: &Bench,
) -> Result<PrepRoom, Vec<Fault>> {
    Toml::read(file, text, |root| {
        root.only(&["lot", "unknown"]);
        let mut lots_seen = bench.stated_lots.clone();
        let (mut shelf, mut recorded) = (BTreeMap::new(), BTreeMap::new());
        let lots = root.tables("lot", |section| {
            let life = shelf_life(&section);
            let read = read_lot(&section, bench, &mut lots_seen)?;
            let bottle = Bottle::Lot(read.0.code.clone());
            shelf.insert(bottle.clone(), life);
            recorded.insert(bottle, read.2);
            Some((read.0, read.1))
        });
        let mut unknowns_seen = bench.stated_unknowns.clone();
        let unknowns = root.tables("unknown", |section| {
            let life = shelf_life(&section);
            let read = read_unknown(&section, bench, &mut unknowns_seen)?;
            let bottle = Bottle::unknown(&read.0, &read.1.code);
            shelf.insert(bottle.clone(), life);
            recorded.insert(bottle, read.3);
            Some((read.0, read.1, read.2))
        });
        shelf.retain(|_, life| !life.is_empty());
        Some(PrepRoom {
            lots: lots.into_iter().collect::<Option<_>>()?,
            unknowns: unknowns.into_iter().collect::<Option<_>>()?,
            recorded,
            shelf,
            procedures: BTreeMap::new(),
        })
    })
}

/// The text of a record with its version and days; records are kept without.
pub(super) fn with_version(record: &str, version: u32, life: Option<&ShelfLife>) -> String {
    let Some((header, body)) = record.split_once('\n') else {
        return record.to_owned();
    };
    let life = life.copied().unwrap_or_default();
    let day = |key: &str, day: Option<jiff::civil::Date>| {
        day.map_or_else(String::new, |day| format!("{key} = \"{day}\"\n"))
    };
    let version = if version > 1 {
        format!("version = {version}\n")
    } else {
        String::new()
    };
    let (made, expires) = (day("made", life.made), day("expires", life.expires));
    format!("{header}\n{version}{made}{expires}{body}")
}

/// Keys that are kept beside the record.
const BESIDE: [&str; 3] = ["version", "made", "expires"];

const TWICE: &str = "a code that neither this file nor the CSV file has already";

fn read_lot(
    section: &Section,
    bench: &Bench,
    seen: &mut HashSet<LotCode>,
) -> Option<(Lot, String, Recorded)> {
    section.only(&[
        "lot",
        "reagent",
        "version",
        "made",
        "expires",
        "prepared",
        "standardised",
    ]);
    let lot = section.parsed("lot", LotCode::parse);
    if let Some(lot) = &lot
        && !seen.insert(lot.clone())
    {
        section.fault("lot", found(lot, TWICE));
    }
    let reagent = section.parsed("reagent", line_of_text);
    let version = read_version(section);
    let recorded = match (section.has("prepared"), section.has("standardised")) {
        (true, false) => section.needed("prepared", |record| {
            let preparation = preparation(&record, bench.glassware)?;
            prepared(&record, &preparation, &preparation.of_itself())
        }),
        (false, true) => section.needed("standardised", |record| {
            let work_up = standardised(&record, bench, reagent.as_deref().unwrap_or_default())?;
            Some(Recorded::Standardised(Box::new(work_up)))
        }),
        (both, _) => {
            let there = if both {
                "both prepared and standardised"
            } else {
                "neither prepared nor standardised"
            };
            section.fault("", format!("found {there}, expected one of the two"));
            None
        }
    };
    let recorded = recorded?;
    let molarity = positive(section, recorded.assigned());
    let lot = Lot {
        code: lot?,
        reagent: reagent?,
        molarity: molarity?,
        version: version?,
        standardised: None,
    };
    let record = format!("[[lot]]\n{}", section.written("lot", &BESIDE));
    Some((lot, record, recorded))
}

fn read_unknown(
    section: &Section,
    bench: &Bench,
    seen: &mut HashSet<(ExperimentKey, String)>,
) -> Option<(ExperimentKey, Unknown, String, Recorded)> {
    section.only(&[
        "experiment",
        "unknown",
        "version",
        "made",
        "expires",
        "prepared",
    ]);
    let experiment = section.text("experiment").map(ExperimentKey::new);
    let code = section.parsed("unknown", UnknownCode::parse);
    if let (Some(experiment), Some(code)) = (&experiment, &code)
        && !seen.insert((experiment.clone(), code.to_ascii_lowercase()))
    {
        section.fault("unknown", found(code, TWICE));
    }
    let spec = experiment.as_ref().and_then(|key| bench.results.get(key));
    if let (Some(key), None, true) = (&experiment, spec, bench.all_results) {
        section.fault(
            "experiment",
            found(key, "the key of an experiment in course.toml"),
        );
    }
    let version = read_version(section);
    let recorded = section.needed("prepared", |record| {
        let preparation = preparation(&record, bench.glassware)?;
        prepared(&record, &preparation, spec?)
    })?;
    let truth = Sealed::new(positive(section, recorded.assigned())?);
    let unknown = Unknown {
        code: code?,
        truth,
        version: version?,
    };
    let record = format!("[[unknown]]\n{}", section.written("unknown", &BESIDE));
    Some((experiment?, unknown, record, recorded))
}

fn shelf_life(section: &Section) -> ShelfLife {
    let day = |key: &str| section.parsed_if_any(key, day);
    ShelfLife {
        made: day("made"),
        expires: day("expires"),
    }
}

fn read_version(section: &Section) -> Option<u32> {
    if section.has("version") {
        section.whole("version", 1..=1_000_000)
    } else {
        Some(1)
    }
}

fn prepared(record: &Section, preparation: &Preparation, spec: &ResultSpec) -> Option<Recorded> {
    let prepared = preparation.work_up(spec);
    prepared
        .map(Recorded::Prepared)
        .map_err(|why| record.fault("", why.to_string()))
        .ok()
}

fn positive(section: &Section, value: Assigned) -> Option<Assigned> {
    Assigned::new(value.value, value.standard_uncertainty)
        .map_err(|(_, what)| section.fault("", format!("value of the record: {what}")))
        .ok()
}
