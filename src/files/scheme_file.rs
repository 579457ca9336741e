//! The tables of a procedure's file that only some schemes have.

use rust_decimal::Decimal;

use super::procedure_file::{Reader, formula, reactions};
use crate::measure::GlasswareKind;
use crate::procedure::{Calibration, Portion, Precipitate, Second, Vessel};
use crate::text::{Section, decimal, found};

impl Reader<'_> {
    pub(super) fn second(&self, section: &Section) -> Option<Second> {
        section.only(&["portion", "reactions", "analyte"]);
        let portion = section.parsed("portion", |text| {
            [Portion::Same, Portion::Another]
                .into_iter()
                .find(|portion| portion.name() == text)
                .ok_or_else(|| found(text, "same or another"))
        });
        let read = reactions(section);
        let complete = read.len() == section.texts("reactions").len();
        let other = formula(section, "analyte");
        Some(Second {
            portion: portion?,
            reactions: complete.then_some(read)?,
            other: other?,
        })
    }

    /// `[precipitate]`: what is weighed.
    pub(super) fn precipitate(&self, section: &Section) -> Option<Precipitate> {
        section.only(&["species", "balance", "nominal_g"]);
        let species = formula(section, "species");
        let balance = self.piece(section, "balance", &[GlasswareKind::Balance]);
        let nominal = section.number("nominal_g");
        Some(Precipitate {
            species: species?,
            balance: balance?,
            nominal: nominal?,
        })
    }

    /// `[density]`: the vessel that is weighed.
    pub(super) fn vessel(&self, section: &Section) -> Option<Vessel> {
        section.only(&["balance", "water_C"]);
        let balance = self.piece(section, "balance", &[GlasswareKind::Balance]);
        let water = if section.has("water_C") {
            section.number("water_C").map(Some)
        } else {
            Some(None)
        };
        Some(Vessel {
            balance: balance?,
            water: water?,
        })
    }

    /// `[calibration]`: stock, standards and instrument.
    pub(super) fn calibration(&self, section: &Section) -> Option<Calibration> {
        section.only(&[
            "species",
            "nominal_mol_per_L",
            "taken_with",
            "made_up_in",
            "stock_mL",
            "spectrophotometer",
        ]);
        let species = formula(section, "species");
        let nominal = section.number("nominal_mol_per_L");
        let graduated = [GlasswareKind::Burette, GlasswareKind::Cylinder];
        let taken_with = self.piece(section, "taken_with", &graduated);
        let made_up_in = self.piece(section, "made_up_in", &[GlasswareKind::Flask]);
        let instrument = self.piece(
            section,
            "spectrophotometer",
            &[GlasswareKind::Spectrophotometer],
        );
        let stock: Option<Vec<Decimal>> = section
            .texts("stock_mL")
            .iter()
            .map(|text| {
                decimal(text)
                    .map_err(|why| section.fault("stock_mL", why))
                    .ok()
            })
            .collect();
        Some(Calibration {
            species: species?,
            nominal: nominal?,
            taken_with: taken_with?,
            made_up_in: made_up_in?,
            stock: stock?,
            instrument: instrument?,
        })
    }
}
