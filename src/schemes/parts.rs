//! What several schemes share: reagents, burettes and balances, in checks, words and columns.

use super::file::formula;
use super::{Faults, SchemeFile, Signal};
use crate::chem::{Formula, RatioFault, printed};
use crate::columns::Column;
use crate::language::{Message, message};
use crate::measure::{Glassware, GlasswareKind, as_f64};
use crate::procedure::{AddedTo, Allowed, Common, Excess, Per, ProcedureFault, Titrant};
use crate::submission::Titration;
use crate::workup::{
    Builder, Load, Of, Operation, Own, Quantity, Role, Sign, StepId, WorkUpError, Worked,
};
use rust_decimal::Decimal;

/// What a scheme with a `titrant` and something `asked` says of itself.
macro_rules! titrated {
    () => {
        fn asked(&self) -> Option<&crate::procedure::Asked> {
            Some(&self.asked)
        }

        fn tells_apart(&self) -> bool {
            true
        }

        fn instrument(&self) -> &crate::measure::Glassware {
            &self.titrant.burette
        }
    };
}

/// What a scheme says of itself whose rows are one titre each.
macro_rules! one_titre {
    () => {
        super::parts::titrated!();

        fn facts(&self) -> Vec<(&'static str, String)> {
            vec![self.titrant.fact()]
        }

        fn instruments(&self) -> crate::language::Message {
            self.titrant.burette_words()
        }

        fn columns(&self, fillings: usize) -> Vec<crate::columns::Column> {
            crate::columns::Column::of_burette(crate::submission::Delivery::First, fillings)
                .collect()
        }

        fn measure(
            &self,
            builder: &mut crate::workup::Builder,
            row: &crate::submission::Titration,
            of: crate::workup::Of,
        ) -> crate::workup::Worked<crate::workup::Measured> {
            builder.titre(row, of)
        }

        fn measurements(&self, signal: f64, _: f64) -> Option<Vec<crate::schemes::Measurement>> {
            Some(vec![crate::schemes::Measurement::Deliver(
                crate::submission::Delivery::First,
                signal,
            )])
        }
    };
}

pub(super) use {one_titre, titrated};

pub const TITRANT: (&str, &str) = ("titrant", "is a titration");

pub fn fault(key: &str, what: impl ToString) -> Faults {
    vec![ProcedureFault::new(key, what)]
}

pub fn in_reactions(why: RatioFault) -> Faults {
    fault("reactions", why)
}

/// What was made, unless something else is at fault.
pub fn checked<T>(mut faults: Faults, made: Result<T, Faults>) -> Result<T, Faults> {
    match made {
        Ok(made) if faults.is_empty() => Ok(made),
        Ok(_) => Err(faults),
        Err(more) => {
            faults.extend(more);
            Err(faults)
        }
    }
}

/// What is wrong with the common parts and the titrant where a titre is taken of each sample.
pub fn of_titrated_sample(common: &Common, titrant: &Titrant, molar_mass: bool) -> Faults {
    let mut faults = common.check(&Allowed {
        result: Per::Sample,
        no_blank: None,
        titres: true,
        standard: false,
        molar_mass,
    });
    titrant.check(&mut faults);
    faults
}

pub fn needs_reactions(common: &Common) -> Result<(), Faults> {
    if common.reactions.is_empty() {
        let what = "found none, expected at least one balanced reaction";
        return Err(fault("reactions", what));
    }
    Ok(())
}

impl Titrant {
    pub fn check(&self, faults: &mut Faults) {
        if !self.burette.kind().is_burette() {
            let burette = [GlasswareKind::Burette];
            kind("titrant.burette", &self.burette, &burette, faults);
        }
        positive("titrant.nominal_mol_per_L", self.nominal, faults);
    }

    pub fn fact(&self) -> (&'static str, String) {
        let words = format!(
            "{}, nominally {} mol/L, from a {}",
            printed(&self.species.to_string()),
            self.nominal,
            self.burette.title()
        );
        ("Titrant", words)
    }

    /// The burette as a student reads it.
    pub fn burette_words(&self) -> Message {
        let (piece, decimals) = (self.burette.words(), decimals(&self.burette));
        match self.burette.kind().is_displayed() {
            true => message!(
                "instruments.burette-displayed",
                piece = piece,
                decimals = decimals
            ),
            false => message!("instruments.burette", piece = piece, decimals = decimals),
        }
    }

    pub fn signal(&self) -> Signal {
        Signal {
            name: "titre",
            unit: "mL",
            least: 0.0,
            full: as_f64(self.burette.capacity()),
            scale: "the burette",
            blank: None,
            inverse: false,
            bent: false,
            of_vessel: false,
        }
    }
}

impl Excess {
    /// The volume added, mL.
    pub fn volume(&self) -> Decimal {
        self.delivered.unwrap_or_else(|| self.glassware.capacity())
    }

    /// The burette that delivers it, or brings an endpoint back.
    pub fn burette(&self) -> Option<&Glassware> {
        let itself = Some(&self.glassware).filter(|piece| piece.kind().is_burette());
        itself.or(self.brought_back.as_ref())
    }

    /// Whether the sample is made up with it.
    pub fn is_in_whole(&self) -> bool {
        self.added_to == Some(AddedTo::Whole)
    }

    pub fn check(&self, faults: &mut Faults) {
        let single = [
            GlasswareKind::Pipette,
            GlasswareKind::Dispenser,
            GlasswareKind::Flask,
        ];
        let by_burette = self.glassware.kind().is_burette();
        if !by_burette {
            kind("excess.glassware", &self.glassware, &single, faults);
        }
        let mut fault = |key: &str, what: &str| faults.push(ProcedureFault::new(key, what));
        match (by_burette, self.delivered) {
            (true, None) => fault(
                "excess.nominal_mL",
                "found none, expected how much the burette is to deliver",
            ),
            (false, Some(_)) => fault(
                "excess.nominal_mL",
                "found one, expected it only where a burette measures the excess",
            ),
            (true, Some(volume))
                if volume <= Decimal::ZERO || volume > self.glassware.capacity() =>
            {
                fault(
                    "excess.nominal_mL",
                    "expected more than 0 and no more than the burette holds",
                );
            }
            _ => {}
        }
        if let Some(burette) = &self.brought_back {
            if by_burette {
                let what = "found one, expected none: what a burette adds later is another filling";
                fault("excess.brought_back_with", what);
            } else if !burette.kind().is_burette() {
                kind(
                    "excess.brought_back_with",
                    burette,
                    &[GlasswareKind::Burette],
                    faults,
                );
            }
        }
        positive("excess.nominal_mol_per_L", self.nominal, faults);
    }
}

pub fn kind(key: &str, piece: &Glassware, expected: &[GlasswareKind], faults: &mut Faults) {
    if expected.contains(&piece.kind()) {
        return;
    }
    let found = piece.kind().name();
    let expected = match expected {
        [GlasswareKind::Pipette, ..] => "a single-mark piece such as a pipette".to_owned(),
        kinds => {
            let names: Vec<String> = kinds.iter().map(|k| format!("a {}", k.name())).collect();
            names.join(" or ")
        }
    };
    let what = format!("found a {found}, expected {expected}");
    faults.push(ProcedureFault::new(key, what));
}

pub fn positive(key: &str, number: Decimal, faults: &mut Faults) {
    if number <= Decimal::ZERO {
        let what = format!("found {number}, expected a number above 0");
        faults.push(ProcedureFault::new(key, what));
    }
}

/// A crucible that is weighed empty and with what it holds in the end.
#[derive(Clone, Debug)]
pub struct Crucible {
    /// What it holds, as it is weighed.
    pub species: Formula,
    pub balance: Glassware,
    /// The mass, or the loss, to expect, g.
    pub nominal: Decimal,
}

impl Crucible {
    /// From a table with these keys for species and mass.
    pub fn read(file: &SchemeFile, table: &'static str, keys: [&'static str; 2]) -> Option<Self> {
        file.table(table, |section| {
            section.only(&[keys[0], "balance", keys[1]]);
            let species = formula(&section, keys[0]);
            let balance = file.piece(&section, "balance", &[GlasswareKind::Balance]);
            let nominal = section.number(keys[1]);
            Some(Self {
                species: species?,
                balance: balance?,
                nominal: nominal?,
            })
        })
    }

    /// Whether a balance weighs it, and a mass is expected.
    pub fn check(&self, table: &str, mass: &str, faults: &mut Faults) {
        let balance = format!("{table}.balance");
        kind(&balance, &self.balance, &[GlasswareKind::Balance], faults);
        positive(&format!("{table}.{mass}"), self.nominal, faults);
    }

    pub fn words(&self, expected: &str) -> String {
        let species = printed(&self.species.to_string());
        format!("{species}{expected}, on a {}", self.balance.title())
    }
}

/// An instrument that displays what it measures, as a student reads it.
pub fn display_words(piece: &Glassware) -> Message {
    message!(
        "glassware.displayed",
        piece = piece.words(),
        decimals = decimals(piece)
    )
}

fn decimals(piece: &Glassware) -> Message {
    message!("count.decimal", n = piece.decimals().unwrap_or(0))
}

/// Mass of what is in a container, g: full − empty. A blank's linearity is another error than a trial's: were it the
/// same, taking the blank off would take the trial's own linearity with it.
pub fn content(
    builder: &mut Builder,
    row: &Titration,
    (empty, full): (Column, Column),
    balance: &Glassware,
    (mass, of): (Own, Of),
) -> Worked<StepId> {
    let mass = Quantity::from(mass).of(of);
    let missing = || WorkUpError {
        label: mass.named(),
        what: "why.no-reading",
    };
    let empty = empty.get(row).ok_or_else(missing)?;
    let full = full.get(row).ok_or_else(missing)?;
    let quantity = Quantity::new(Role::MassFull).of(of);
    let full = builder.weighing(quantity, full, balance, Load::Full, 1.0);
    let quantity = Quantity::new(Role::MassEmpty).of(of);
    let empty = builder.weighing(quantity, empty, balance, Load::Empty, 1.0);
    let terms = Operation::sum([(Sign::Plus, full), (Sign::Minus, empty)]);
    builder.graph.step(mass, "g", terms)
}
