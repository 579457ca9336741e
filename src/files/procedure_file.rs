//! A procedure's TOML file.

use rust_decimal::Decimal;

use super::marking_file::{marking, trials};
use crate::chem::{Formula, Reaction, is_edta};
use crate::measure::{Glassware, GlasswareKind, GlasswareTable};
use crate::procedure::{
    Accept, Aliquot, Excess, Procedure, ProcedureParts, ProcedureText, Purity, ReadingDoubt,
    ResultSpec, ResultUnit, Sample, SampleBy, Scheme, Titrant, TrialRules,
};
use crate::text::{Fault, Section, Toml, decimal, found, line_of_text};

/// Reads a procedure and checks it: keys, formulae, balance, glassware, units, marking.
pub fn read_procedure(
    file: &str,
    text: &str,
    glassware: &GlasswareTable,
) -> Result<Procedure, Vec<Fault>> {
    Toml::read(file, text, |root| Reader { root, glassware }.procedure())
}

pub(super) struct Reader<'r> {
    root: Section<'r>,
    glassware: &'r GlasswareTable,
}

impl Reader<'_> {
    fn procedure(&self) -> Option<Procedure> {
        let root = &self.root;
        root.only(&[
            "key",
            "title",
            "scheme",
            "reactions",
            "titrant",
            "sample",
            "excess",
            "second",
            "precipitate",
            "density",
            "calibration",
            "result",
            "trials",
            "uncertainty",
            "marking",
            "text",
        ]);
        let key = root.text("key");
        let title = root.parsed("title", |text| match line_of_text(text)? {
            empty if empty.is_empty() => Err(found("", "a title")),
            title => Ok(title),
        });
        let scheme = root.parsed("scheme", scheme);
        let reactions = reactions(root);
        // without a scheme, a titration is what was meant
        let titrant = if scheme.is_none_or(Scheme::is_titration) {
            Some(root.needed("titrant", |section| self.titrant(&section)))
        } else {
            root.table("titrant", |section| self.titrant(&section))
        };
        let sample = root.needed("sample", |section| self.sample(&section));
        let excess = root.table("excess", |section| self.excess(&section));
        let second = root.table("second", |section| self.second(&section));
        let precipitate = root.table("precipitate", |section| self.precipitate(&section));
        let vessel = root.table("density", |section| self.vessel(&section));
        let calibration = root.table("calibration", |section| self.calibration(&section));
        let result = root.needed("result", |section| read_result(&section));
        let trials = root.needed("trials", |section| trials(&section));
        let doubt = match root.table("uncertainty", |section| doubt(&section)) {
            Some(doubt) => doubt,
            None => Some(ReadingDoubt::default()),
        };
        let marking = root.needed("marking", |section| marking(&section));
        let text = root
            .table("text", |section| read_text(&section))
            .unwrap_or_default();
        let all_reactions = reactions.len() == root.texts("reactions").len();
        // what does not depend on a faulty table is still checked, so that one look shows every fault
        let parts = ProcedureParts {
            key: key?,
            title: title.unwrap_or_default(),
            scheme: scheme?,
            reactions,
            titrant: whole(titrant)?,
            sample: sample?,
            excess: whole(excess)?,
            second: whole(second)?,
            precipitate: whole(precipitate)?,
            vessel: whole(vessel)?,
            calibration: whole(calibration)?,
            result: result?,
            trials: trials.unwrap_or(TrialRules {
                minimum: 1,
                blank: false,
                accept: Accept::All,
                prompt_decimals: true,
            }),
            uncertainty: doubt.unwrap_or_default(),
            marking: marking.unwrap_or_default(),
            text,
        };
        match Procedure::new(parts) {
            Ok(procedure) => Some(procedure),
            Err(faults) => {
                let of_reactions =
                    |key: &str| matches!(key, "reactions" | "sample.species" | "second.reactions");
                for fault in faults
                    .into_iter()
                    .filter(|f| all_reactions || !of_reactions(&f.key))
                {
                    root.fault(&fault.key, fault.what);
                }
                None
            }
        }
    }

    fn titrant(&self, section: &Section) -> Option<Titrant> {
        section.only(&["species", "nominal_mol_per_L", "pH", "burette"]);
        let species = formula(section, "species");
        let nominal = section.number("nominal_mol_per_L");
        let ph = match &species {
            Some(species) if section.has("pH") => ph(section, species).map(Some),
            _ => Some(None),
        };
        let burette = self.piece(section, "burette", &[GlasswareKind::Burette]);
        Some(Titrant {
            species: species?,
            nominal: nominal?,
            ph: ph?,
            burette: burette?,
        })
    }

    fn excess(&self, section: &Section) -> Option<Excess> {
        section.only(&["species", "nominal_mol_per_L", "glassware"]);
        let species = formula(section, "species");
        let nominal = section.number("nominal_mol_per_L");
        let glassware = self.piece(
            section,
            "glassware",
            &[GlasswareKind::Pipette, GlasswareKind::Flask],
        );
        Some(Excess {
            species: species?,
            nominal: nominal?,
            glassware: glassware?,
        })
    }

    fn sample(&self, section: &Section) -> Option<Sample> {
        section.only(&[
            "by",
            "glassware",
            "nominal",
            "made_up_in",
            "taken_with",
            "species",
            "purity",
            "purity_half_width",
        ]);
        let by = section.parsed("by", |text| {
            [SampleBy::Volume, SampleBy::Mass, SampleBy::MassDifference]
                .into_iter()
                .find(|by| by.name() == text)
                .ok_or_else(|| found(text, "volume, mass or mass-difference"))
        });
        let kinds: &[GlasswareKind] = match by {
            Some(SampleBy::Mass | SampleBy::MassDifference) => &[GlasswareKind::Balance],
            _ => &[
                GlasswareKind::Cylinder,
                GlasswareKind::Pipette,
                GlasswareKind::Flask,
            ],
        };
        let glassware = self.piece(section, "glassware", kinds);
        let nominal = section.number("nominal");
        let aliquot = match (section.has("made_up_in"), section.has("taken_with")) {
            (false, false) => Some(None),
            (true, true) => {
                let flask = self.piece(section, "made_up_in", &[GlasswareKind::Flask]);
                let pipette = self.piece(section, "taken_with", &[GlasswareKind::Pipette]);
                flask
                    .zip(pipette)
                    .map(|(flask, pipette)| Some(Aliquot { flask, pipette }))
            }
            (made_up, _) => {
                let (there, lacking) = if made_up {
                    ("made_up_in", "taken_with")
                } else {
                    ("taken_with", "made_up_in")
                };
                section.fault(lacking, format!("found none, expected one beside {there}"));
                None
            }
        };
        let species = if section.has("species") {
            formula(section, "species").map(Some)
        } else {
            Some(None)
        };
        let purity = match (section.has("purity"), section.has("purity_half_width")) {
            (false, false) => Some(None),
            _ => {
                let fraction = section.number("purity");
                let half_width = section.number_or("purity_half_width", Decimal::ZERO);
                fraction.zip(half_width).map(|(fraction, half_width)| {
                    Some(Purity {
                        fraction,
                        half_width,
                    })
                })
            }
        };
        Some(Sample {
            by: by?,
            glassware: glassware?,
            nominal: nominal?,
            aliquot: aliquot?,
            species: species?,
            purity: purity?,
        })
    }

    pub(super) fn piece(
        &self,
        section: &Section,
        key: &str,
        kinds: &[GlasswareKind],
    ) -> Option<Glassware> {
        section.parsed(key, |text| piece(self.glassware, text, kinds))
    }
}

/// The piece of that key; a fault names those of the kinds that would fit. A piece of another kind is left to the
/// check of the whole procedure, which says why it does not fit.
pub(super) fn piece(
    table: &GlasswareTable,
    key: &str,
    kinds: &[GlasswareKind],
) -> Result<Glassware, String> {
    table.get(key).cloned().ok_or_else(|| {
        let known = table.iter().filter(|piece| kinds.contains(&piece.kind()));
        let known: Vec<&str> = known.map(Glassware::key).collect();
        found(key, &format!("one of {}", known.join(", ")))
    })
}

/// A table that need not be there, but is without faults where it is.
fn whole<T>(table: Option<Option<T>>) -> Option<Option<T>> {
    match table {
        Some(None) => None,
        Some(table) => Some(table),
        None => Some(None),
    }
}

/// The reactions of a table that balance; of the others the fault is kept.
pub(super) fn reactions(section: &Section) -> Vec<Reaction> {
    let texts = section.texts("reactions");
    let read = texts.iter().filter_map(|text| {
        Reaction::parse(text)
            .map_err(|why| section.fault("reactions", why.to_string()))
            .ok()
    });
    read.collect()
}

fn scheme(text: &str) -> Result<Scheme, String> {
    let known = Scheme::ALL.into_iter().find(|scheme| scheme.name() == text);
    known.ok_or_else(|| {
        found(
            text,
            &format!("one of {}", Scheme::ALL.map(Scheme::name).join(", ")),
        )
    })
}

/// The pH stated for a titrant, which means something for EDTA only.
fn ph(section: &Section, titrant: &Formula) -> Option<Decimal> {
    section.parsed("pH", |text| {
        let ph = decimal(text)?;
        if !is_edta(titrant) {
            let expected = "none: it is asked for only where the titrant is EDTA";
            return Err(found(text, expected));
        }
        let fits = (Decimal::ZERO..=Decimal::from(14)).contains(&ph);
        fits.then_some(ph).ok_or_else(|| found(text, "0 to 14"))
    })
}

/// A formula at a key that must be there.
pub(super) fn formula(section: &Section, key: &str) -> Option<Formula> {
    section.parsed(key, |text| {
        Formula::parse(text).map_err(|why| why.to_string())
    })
}

fn read_result(section: &Section) -> Option<ResultSpec> {
    section.only(&["analyte", "as", "unit"]);
    let species = |key: &str| {
        if section.has(key) {
            formula(section, key).map(Some)
        } else {
            Some(None)
        }
    };
    let (analyte, expressed_as) = (species("analyte"), species("as"));
    let unit = section.parsed("unit", |text| {
        let names: Vec<&str> = ResultUnit::ALL.iter().map(|unit| unit.name()).collect();
        ResultUnit::from_name(text)
            .ok_or_else(|| found(text, &format!("one of {}", names.join(", "))))
    });
    Some(ResultSpec {
        analyte: analyte?,
        expressed_as: expressed_as?,
        unit: unit?,
    })
}

fn doubt(section: &Section) -> Option<ReadingDoubt> {
    section.only(&[
        "burette_reading_mL",
        "drop_mL",
        "temperature_C",
        "repeatability_percent",
    ]);
    let usual = ReadingDoubt::default();
    let small = |key: &str, usual: Decimal, most: i64, unit: &str| {
        if !section.has(key) {
            return Some(usual);
        }
        section.parsed(key, |text| {
            decimal(text).and_then(|number| {
                let fits = (Decimal::ZERO..=Decimal::from(most)).contains(&number);
                fits.then_some(number)
                    .ok_or_else(|| found(text, &format!("0 to {most} {unit}")))
            })
        })
    };
    let reading = small("burette_reading_mL", usual.burette_reading, 5, "mL");
    let drop = small("drop_mL", usual.drop, 5, "mL");
    let percent = |usual| small("repeatability_percent", usual, 10, "%");
    let repeatability = percent(usual.repeatability);
    let temperature = small("temperature_C", usual.temperature, 20, "\u{b0}C");
    Some(ReadingDoubt {
        burette_reading: reading?,
        drop: drop?,
        temperature: temperature?,
        repeatability: repeatability?,
    })
}

fn read_text(section: &Section) -> ProcedureText {
    section.only(&[
        "summary",
        "steps",
        "endpoint",
        "cautions",
        "waste",
        "glassware_note",
    ]);
    ProcedureText {
        summary: section.text_if_any("summary").unwrap_or_default(),
        steps: section.texts("steps"),
        endpoint: section.text_if_any("endpoint").unwrap_or_default(),
        glassware_note: section.text_if_any("glassware_note").unwrap_or_default(),
        cautions: section.texts("cautions"),
        waste: section.text_if_any("waste").unwrap_or_default(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::files::{shipped_glassware, shipped_procedure, shipped_procedures};

    fn faults(text: &str) -> Vec<String> {
        match read_procedure("p.toml", text, &shipped_glassware()) {
            Ok(_) => Vec::new(),
            Err(faults) => faults.iter().map(ToString::to_string).collect(),
        }
    }

    #[test]
    fn every_shipped_procedure_reads_under_its_own_key() {
        assert!(shipped_glassware().iter().count() > 50);
        assert!(shipped_procedures().len() >= 8);
        for (key, text) in shipped_procedures() {
            let read = read_procedure(&key, &text, &shipped_glassware());
            assert_eq!(read.as_ref().map(|p| p.key.as_str()), Ok(key.as_str()));
        }
    }

    #[test]
    fn every_fault_is_named_at_once_with_its_line() {
        let text = shipped_procedure("well-water-hardness").unwrap();
        let text = text
            .replace("-> CaC10H12N2O8^2- + 2 H^+", "-> CaC10H12N2O8^2- + H^+")
            .replace("burette-50-b", "burette-60-b")
            .replace("unit = \"mg/L\"", "unit = \"mg/l\"\ncolour = 1")
            .replace("zero_from = \"7.0\"", "zero_from = \"1.0\"")
            .replace("points = \"3\", within", "points = 1e3, within");
        let found = faults(&text);
        let expected = [
            "p.toml:4, key reactions: reaction “Ca^2+ + C10H14N2O8^2- -> CaC10H12N2O8^2- + H^+” does not balance: H 14 left, 13 right; charge 0 left, -1 right; balanced it reads “Ca^2+ + C10H14N2O8^2- -> CaC10H12N2O8^2- + 2 H^+”",
            "p.toml:10, key titrant.burette: found “burette-60-b”, expected one of burette-10-a, burette-10-b, burette-100-a, burette-100-b, burette-25-a, burette-25-b, burette-50-a, burette-50-b",
            "p.toml:20, key result.unit: found “mg/l”, expected one of mol/L, mmol/L, g/L, mg/L, %w/w, %w/v, g/mL",
            "p.toml:21, key result.colour: found “colour”, expected one of the keys analyte, as, unit",
            "p.toml:36, key marking.calculation.points: found “1e3”, expected a plain number such as 0.0100",
        ];
        assert_eq!(found, expected);
    }

    #[test]
    fn marking_and_chemistry_are_checked_together() {
        let text = shipped_procedure("well-water-hardness").unwrap();
        let text = text
            .replace("zero_from = \"7.0\"", "zero_from = \"1.0\"")
            .replace("nominal = \"50.0\"", "nominal = 80");
        assert_eq!(
            faults(&text),
            [
                "p.toml:15, key sample.nominal: found 80, expected at most the 50 mL it holds",
                "p.toml:32, key marking.accuracy.ramp: found full_within 1.5 and zero_from 1.0, expected 0 or more and a larger number",
            ]
        );
    }

    #[test]
    fn a_scheme_says_which_tables_it_takes() {
        let text = shipped_procedure("well-water-hardness").unwrap();
        assert_eq!(
            faults(&text.replace("scheme = \"direct\"", "scheme = \"gravimetry\"")),
            [
                "p.toml:3, key scheme: found “gravimetry”, expected one of direct, indirect, back, standardisation, two-endpoint, gravimetric, density, calibration-line"
            ]
        );
        let found = faults(&text.replace("scheme = \"direct\"", "scheme = \"gravimetric\""));
        for expected in [
            "p.toml:6, key titrant: found one, expected it only where the scheme is a titration",
            "p.toml:1, key precipitate: found none, expected what is weighed",
        ] {
            assert!(
                found.iter().any(|f| f == expected),
                "{expected}: {found:#?}"
            );
        }
        assert!(faults(&text.replace("scheme = \"direct\"", "scheme = \"indirect\"")).is_empty());
    }

    #[test]
    fn broken_toml_and_missing_tables_are_faults() {
        assert_eq!(
            faults("key = \"a\"\nkey = \"b\"\n"),
            ["p.toml:2: duplicate key"]
        );
        let found = faults("key = 5\n");
        assert!(
            found.contains(
                &"p.toml:1, key titrant: found none, expected a table of that name".to_owned()
            ),
            "{found:?}"
        );
        assert!(
            found.contains(&"p.toml:1, key title: found none, expected a text".to_owned()),
            "{found:?}"
        );
    }
}
