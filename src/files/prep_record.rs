//! One record of `prep-room.toml`: what was weighed, made up and diluted, or standardised.

use std::collections::BTreeSet;

use rust_decimal::Decimal;

use super::prep_room::Bench;
use crate::chem::Formula;
use crate::columns::{Cells, Column, read_cells};
use crate::judge::refusals;
use crate::measure::{Glassware, GlasswareKind, GlasswareTable, Reading};
use crate::procedure::{Procedure, Purity, ResultUnit};
use crate::schemes::{formula, piece};
use crate::submission::{HandIn, Titration, TrialLabel};
use crate::text::{Section, decimal, found};
use crate::truth::Assigned;
use crate::workup::{
    Conditions, Dilution, Preparation, Stock, Taken, Weighed, WorkUp, WorkUpInput, work_up,
};

pub(super) fn preparation(record: &Section, glassware: &GlasswareTable) -> Option<Preparation> {
    record.only(&[
        "weighed_g",
        "balance",
        "formula",
        "purity",
        "purity_half_width",
        "flask",
        "total_g",
        "stock_mol_per_L",
        "stock_standard_uncertainty_mol_per_L",
        "dilutions",
        "temperature_C",
        "repeatability_mL",
        "repeatability_g",
    ]);
    let species = formula(record, "formula");
    let stock = if record.has("stock_mol_per_L") {
        known_stock(record)
    } else {
        weighed_stock(record, glassware)
    };
    if matches!(stock, Some(Stock::Solid(..))) && record.has("dilutions") {
        record.fault("dilutions", "found some, expected none for a solid mixture");
    }
    let small = |key: &str, most: i64| {
        let number = record.number_or(key, Decimal::ZERO)?;
        let fits = (Decimal::ZERO..=Decimal::from(most)).contains(&number);
        if !fits {
            record.fault(key, format!("found {number}, expected 0 to {most}"));
        }
        fits.then_some(number)
    };
    let conditions = [
        small("temperature_C", 20),
        small("repeatability_mL", 1),
        small("repeatability_g", 1),
    ];
    let dilutions = record.tables("dilutions", |section| dilution(&section, glassware));
    Some(Preparation {
        species: species?,
        stock: stock?,
        conditions: Conditions {
            temperature: conditions[0]?,
            filling: conditions[1]?,
            weighing: conditions[2]?,
        },
        dilutions: dilutions.into_iter().collect::<Option<_>>()?,
    })
}

fn known_stock(record: &Section) -> Option<Stock> {
    for key in [
        "weighed_g",
        "balance",
        "purity",
        "purity_half_width",
        "flask",
        "total_g",
    ] {
        if record.has(key) {
            record.fault(key, "found it, expected none beside stock_mol_per_L");
        }
    }
    let number = |key: &str| record.parsed(key, decimal);
    let value = number("stock_mol_per_L");
    let standard = number("stock_standard_uncertainty_mol_per_L");
    Assigned::new(value?, standard?)
        .map_err(|(what, why)| {
            let key = if what == "value" {
                "stock_mol_per_L"
            } else {
                "stock_standard_uncertainty_mol_per_L"
            };
            record.fault(key, why);
        })
        .map(Stock::Known)
        .ok()
}

fn weighed_stock(record: &Section, glassware: &GlasswareTable) -> Option<Stock> {
    let balance = of_kind(record, "balance", GlasswareKind::Balance, glassware);
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
        .then(|| of_kind(record, "flask", GlasswareKind::Flask, glassware));
    let total = record.has("total_g").then(|| mass("total_g"));
    let weighed = || {
        Some(Weighed {
            mass: weighed?,
            balance: balance?,
            purity: Purity {
                fraction: fraction?,
                half_width: half_width?,
            },
        })
    };
    match (flask, total) {
        (Some(flask), None) => Some(Stock::Solution(weighed()?, flask?)),
        (None, Some(total)) => Some(Stock::Solid(weighed()?, total?)),
        (both, _) => {
            let there = if both.is_some() { "both" } else { "neither" };
            let what = format!(
                "found {there} of them, expected the flask of a solution or the total_g of a solid mixture"
            );
            record.fault("flask", what);
            None
        }
    }
}

fn dilution(section: &Section, glassware: &GlasswareTable) -> Option<Dilution> {
    section.only(&["pipette", "burette", "volume_mL", "flask"]);
    let taken = if section.has("burette") {
        if section.has("pipette") {
            section.fault(
                "pipette",
                "found it beside a burette, expected one of the two",
            );
        }
        let burette = of_kind(section, "burette", GlasswareKind::Burette, glassware);
        let volume = section.parsed("volume_mL", |text| {
            let volume = Reading::parse(text).map_err(|why| why.to_string())?;
            let on_scale = |burette: &Glassware| burette.is_on_scale(volume.value());
            if volume.value() > Decimal::ZERO && burette.as_ref().is_none_or(on_scale) {
                Ok(volume)
            } else {
                Err(found(
                    text,
                    "more than 0 mL and no more than the burette holds",
                ))
            }
        });
        burette
            .zip(volume)
            .map(|(burette, volume)| Taken::Burette(burette, volume))
    } else {
        if section.has("volume_mL") {
            section.fault("volume_mL", "found it, expected none but with a burette");
        }
        of_kind(section, "pipette", GlasswareKind::Pipette, glassware).map(Taken::Pipette)
    };
    let flask = of_kind(section, "flask", GlasswareKind::Flask, glassware);
    let (taken, flask) = (taken?, flask?);
    let (key, volume) = match &taken {
        Taken::Pipette(pipette) => ("pipette", pipette.capacity()),
        Taken::Burette(_, volume) => ("volume_mL", volume.value()),
    };
    if volume > flask.capacity() {
        let what = found(&format!("{volume} mL"), "no more than the flask holds");
        section.fault(key, what);
    }
    Some(Dilution { taken, flask })
}

fn of_kind(
    section: &Section,
    key: &str,
    kind: GlasswareKind,
    glassware: &GlasswareTable,
) -> Option<Glassware> {
    section.parsed(key, |text| {
        let piece = piece(glassware, text, &[kind])?;
        if piece.kind() == kind {
            Ok(piece)
        } else {
            Err(found(text, &format!("a {}", kind.name())))
        }
    })
}

/// A `standardised` table: titrations against a primary standard, with a result.
pub(super) fn standardised(record: &Section, bench: &Bench, reagent: &str) -> Option<WorkUp> {
    record.only(&["procedure", "titrations"]);
    let procedure = record.parsed("procedure", |key| {
        let procedure = bench.shelf.get(key)?;
        match &procedure {
            Some(p) if !p.is_standardisation() || p.result.unit != ResultUnit::MolPerL => {
                Err(found(key, "a standardisation with its result in mol/L"))
            }
            Some(p)
                if Formula::parse(reagent)
                    .is_ok_and(|reagent| p.titrant().is_some_and(|t| reagent != t.species)) =>
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
    if worked.value().is_none() {
        record.fault(
            "titrations",
            "found no trial that counts, expected at least one",
        );
        return None;
    }
    Some(worked)
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
                .for_each(|(column, what)| section.fault(&column.to_string(), what.to_string()))
        })
        .ok()?;
    let titration = Titration {
        trial,
        lot: None,
        excess_lot: None,
        unknown: None,
        instrument: None,
        spoiled: None,
        readings: read,
        submitted_at: None,
    };
    let refused = refusals(procedure, 0, &titration);
    for refusal in &refused {
        section.fault(&refusal.column.to_string(), refusal.text.to_string());
    }
    refused.is_empty().then_some(titration)
}
