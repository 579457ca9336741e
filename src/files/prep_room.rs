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
//! Both kinds take an optional `version` of the value, from 1.

use std::collections::{BTreeMap, BTreeSet, HashSet};

use rust_decimal::Decimal;

use super::cells::{code, line_of_text};
use super::fault::{Fault, found};
use super::procedure_file::{formula, piece};
use super::shelf::Shelf;
use super::toml_table::{Section, Toml};
use crate::chem::Formula;
use crate::columns::{Cells, Column, read_cells};
use crate::judge::refusals;
use crate::measure::{Glassware, GlasswareKind, GlasswareTable, Reading, from_f64};
use crate::procedure::{Procedure, Purity, ResultSpec, ResultUnit, Scheme};
use crate::submission::{HandIn, Titration, TrialLabel};
use crate::term::Term;
use crate::truth::{Assigned, Lot, Sealed, Unknown};
use crate::workup::{Dilution, Preparation, Weighed, WorkUpInput, work_up};

/// Lots and unknowns with their records.
#[derive(Clone, Debug, Default)]
pub struct PrepRoom {
    /// Each with its record, for [`crate::term::Sources::lots`].
    pub lots: Vec<(Lot, String)>,
    /// Each with its experiment and its record, for [`crate::term::Sources::unknowns`].
    pub unknowns: Vec<(String, Unknown, String)>,
    /// Texts of the procedures that standardisations used, by key, for [`crate::term::Sources::procedures`].
    pub procedures: BTreeMap<String, String>,
}

/// What preparation records refer to.
pub(super) struct Bench<'b> {
    pub glassware: &'b GlasswareTable,
    pub shelf: &'b Shelf<'b>,
    /// By experiment; experiments that could not be read are missing.
    pub results: BTreeMap<String, ResultSpec>,
    /// Whether every experiment could be read.
    pub all_results: bool,
    /// Codes of `lots.csv`.
    pub stated_lots: HashSet<String>,
    /// Experiments and lower-case codes of `unknowns.csv`.
    pub stated_unknowns: HashSet<(String, String)>,
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
        let lots = root.tables("lot", |section| read_lot(&section, bench, &mut lots_seen));
        let mut unknowns_seen = bench.stated_unknowns.clone();
        let unknowns = root.tables("unknown", |section| {
            read_unknown(&section, bench, &mut unknowns_seen)
        });
        Some(PrepRoom {
            lots: lots.into_iter().collect::<Option<_>>()?,
            unknowns: unknowns.into_iter().collect::<Option<_>>()?,
            procedures: BTreeMap::new(),
        })
    })
}

/// The text of a record with its version; records are kept without.
pub(super) fn with_version(record: &str, version: u32) -> String {
    match record.split_once('\n') {
        Some((header, body)) if version > 1 => format!("{header}\nversion = {version}\n{body}"),
        _ => record.to_owned(),
    }
}

const TWICE: &str = "a code that neither this file nor the CSV file has already";

fn read_lot(section: &Section, bench: &Bench, seen: &mut HashSet<String>) -> Option<(Lot, String)> {
    section.only(&["lot", "reagent", "version", "prepared", "standardised"]);
    let lot = section.parsed("lot", code);
    if let Some(lot) = &lot
        && !seen.insert(lot.clone())
    {
        section.fault("lot", found(lot, TWICE));
    }
    let reagent = section.parsed("reagent", line_of_text);
    let version = read_version(section);
    let molarity = match (section.has("prepared"), section.has("standardised")) {
        (true, false) => section.needed("prepared", |record| {
            let preparation = preparation(&record, bench.glassware)?;
            preparation
                .molarity()
                .map_err(|why| record.fault("", why.to_string()))
                .ok()
        }),
        (false, true) => section.needed("standardised", |record| {
            standardised(&record, bench, reagent.as_deref().unwrap_or_default())
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
    let molarity = molarity.and_then(|value| positive(section, value));
    let lot = Lot {
        code: lot?,
        reagent: reagent?,
        molarity: molarity?,
        version: version?,
    };
    Some((
        lot,
        format!("[[lot]]\n{}", section.written("lot", "version")),
    ))
}

fn read_unknown(
    section: &Section,
    bench: &Bench,
    seen: &mut HashSet<(String, String)>,
) -> Option<(String, Unknown, String)> {
    section.only(&["experiment", "unknown", "version", "prepared"]);
    let experiment = section.text("experiment");
    let code = section.parsed("unknown", code);
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
    let truth = section.needed("prepared", |record| {
        let preparation = preparation(&record, bench.glassware)?;
        preparation
            .value_in(spec?)
            .map_err(|why| record.fault("", why.to_string()))
            .ok()
    });
    let truth = Sealed::new(truth.and_then(|value| positive(section, value))?);
    let unknown = Unknown {
        code: code?,
        truth,
        version: version?,
    };
    Some((
        experiment?,
        unknown,
        format!("[[unknown]]\n{}", section.written("unknown", "version")),
    ))
}

fn read_version(section: &Section) -> Option<u32> {
    if section.has("version") {
        section.whole("version", 1..=1_000_000)
    } else {
        Some(1)
    }
}

fn positive(section: &Section, value: Assigned) -> Option<Assigned> {
    Assigned::new(value.value, value.standard_uncertainty)
        .map_err(|(_, what)| section.fault("", format!("value of the record: {what}")))
        .ok()
}

fn preparation(record: &Section, glassware: &GlasswareTable) -> Option<Preparation> {
    record.only(&[
        "weighed_g",
        "balance",
        "formula",
        "purity",
        "purity_half_width",
        "flask",
        "total_g",
        "dilutions",
    ]);
    let kind = |section: &Section, key: &str, kind: GlasswareKind| -> Option<Glassware> {
        section.parsed(key, |text| {
            let piece = piece(glassware, text, &[kind])?;
            if piece.kind() == kind {
                Ok(piece)
            } else {
                Err(found(text, &format!("a {}", kind.name())))
            }
        })
    };
    let species = formula(record, "formula");
    let balance = kind(record, "balance", GlasswareKind::Balance);
    let mass = |key: &str| {
        record.parsed(key, |text| {
            let reading = Reading::parse(text).map_err(|why| why.to_string())?;
            let most = balance.as_ref().map_or(Decimal::MAX, Glassware::capacity);
            if reading.value() > Decimal::ZERO && reading.value() <= most {
                Ok(reading)
            } else {
                Err(found(
                    text,
                    "more than 0 g and no more than the balance holds",
                ))
            }
        })
    };
    let weighed = mass("weighed_g");
    let fraction = record.number_or("purity", Decimal::ONE);
    let half_width = record.number_or("purity_half_width", Decimal::ZERO);
    if let Some(fraction) = fraction.filter(|f| *f <= Decimal::ZERO || *f > Decimal::ONE) {
        record.fault(
            "purity",
            format!("found {fraction}, expected a mass fraction above 0 and at most 1"),
        );
    }
    if let Some(half_width) = half_width.filter(|h| *h < Decimal::ZERO || *h >= Decimal::ONE) {
        record.fault(
            "purity_half_width",
            format!("found {half_width}, expected 0 up to the purity"),
        );
    }
    let flask = record
        .has("flask")
        .then(|| kind(record, "flask", GlasswareKind::Flask));
    let total = record.has("total_g").then(|| mass("total_g"));
    if record.has("total_g") && record.has("dilutions") {
        record.fault("dilutions", "found some, expected none for a solid mixture");
    }
    let dilutions = record.tables("dilutions", |dilution| {
        dilution.only(&["pipette", "flask"]);
        let pipette = kind(&dilution, "pipette", GlasswareKind::Pipette);
        let flask = kind(&dilution, "flask", GlasswareKind::Flask);
        let (pipette, flask) = (pipette?, flask?);
        if pipette.capacity() > flask.capacity() {
            dilution.fault(
                "pipette",
                found(pipette.key(), "one that is no larger than the flask"),
            );
        }
        Some(Dilution { pipette, flask })
    });
    Some(Preparation {
        species: species?,
        weighed: Weighed {
            mass: weighed?,
            balance: balance?,
            purity: Purity {
                fraction: fraction?,
                half_width: half_width?,
            },
        },
        flask: match flask {
            Some(flask) => Some(flask?),
            None => None,
        },
        total: match total {
            Some(total) => Some(total?),
            None => None,
        },
        dilutions: dilutions.into_iter().collect::<Option<_>>()?,
    })
}

fn standardised(record: &Section, bench: &Bench, reagent: &str) -> Option<Assigned> {
    record.only(&["procedure", "titrations"]);
    let procedure = record.parsed("procedure", |key| {
        let procedure = bench.shelf.get(key)?;
        match &procedure {
            Some(p)
                if p.scheme != Scheme::Standardisation || p.result.unit != ResultUnit::MolPerL =>
            {
                Err(found(key, "a standardisation with its result in mol/L"))
            }
            Some(p)
                if Formula::parse(reagent).is_ok_and(|reagent| {
                    p.titrant.as_ref().is_some_and(|t| reagent != t.species)
                }) =>
            {
                Err(found(
                    key,
                    &format!("a standardisation of the reagent {reagent}"),
                ))
            }
            _ => Ok(procedure),
        }
    })??;
    let mut row = 0;
    let titrations = record.tables("titrations", |section| {
        row += 1;
        titration(&section, &procedure, row)
    });
    if titrations.is_empty() {
        record.fault("titrations", "found none, expected at least one");
    }
    let hand_in = HandIn {
        titrations: titrations.into_iter().collect::<Option<_>>()?,
        ..HandIn::default()
    };
    let worked = work_up(WorkUpInput {
        procedure: &procedure,
        hand_in: &hand_in,
        lots: &[],
        left_out: &BTreeSet::new(),
    });
    let value = worked.value().zip(worked.budget.as_ref());
    let Some((value, budget)) = value else {
        record.fault(
            "titrations",
            "found no trial that counts, expected at least one",
        );
        return None;
    };
    Some(Assigned {
        value,
        standard_uncertainty: from_f64(budget.standard, 6).unwrap_or(Decimal::ZERO),
    })
}

fn titration(section: &Section, procedure: &Procedure, row: u32) -> Option<Titration> {
    let trial = if section.has("trial") {
        section.parsed("trial", TrialLabel::parse)?
    } else {
        TrialLabel::Numbered(row)
    };
    let mut known = vec!["trial".to_owned()];
    known.extend(Column::of(procedure, 2).iter().map(ToString::to_string));
    section.only(&known.iter().map(String::as_str).collect::<Vec<_>>());
    let mut cells = Cells::new();
    for (key, _) in section.in_order() {
        if let Some(column) = Column::from_name(key) {
            cells.insert(column, section.text(key)?);
        }
    }
    let read = read_cells(procedure, trial, &cells)
        .map_err(|faults| {
            faults
                .into_iter()
                .for_each(|(column, what)| section.fault(&column.to_string(), what))
        })
        .ok()?;
    let titration = Titration {
        trial,
        lot: None,
        excess_lot: None,
        unknown: None,
        instrument: None,
        burette: read.burette,
        other: read.other,
        sample: read.sample,
        submitted_at: None,
    };
    let refused = refusals(procedure, 0, &titration);
    for refusal in &refused {
        section.fault(&refusal.column.to_string(), refusal.text.clone());
    }
    refused.is_empty().then_some(titration)
}
