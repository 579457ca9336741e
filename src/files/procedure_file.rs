//! A procedure's TOML file.

use rust_decimal::Decimal;

use super::marking_file::{marking, trials};
use super::procedure_text::read_texts;
use crate::chem::{Equivalence, Reaction};
use crate::measure::{GlasswareKind, GlasswareTable};
use crate::procedure::{
    Accept, Aliquot, Amount, Common, Ingredient, Procedure, Purity, ReadingDoubt, Reagent,
    ResultSpec, ResultUnit, Sample, SampleBy, StatedEquivalence, TrialRules,
};
use crate::schemes::{SchemeFile, SchemeKind, formula, piece, reactions};
use crate::text::{Fault, Section, Toml, decimal, found, line_of_text};

/// Reads a procedure and checks it: keys, formulae, balance, glassware, units, marking.
pub fn read_procedure(
    file: &str,
    text: &str,
    glassware: &GlasswareTable,
) -> Result<Procedure, Vec<Fault>> {
    Toml::read(file, text, |root| Reader { root, glassware }.procedure())
}

struct Reader<'r> {
    root: Section<'r>,
    glassware: &'r GlasswareTable,
}

/// Tables and keys that every procedure has.
const KEYS: [&str; 11] = [
    "key",
    "title",
    "scheme",
    "reactions",
    "sample",
    "result",
    "trials",
    "uncertainty",
    "marking",
    "text",
    "reagents",
];

impl Reader<'_> {
    fn procedure(self) -> Option<Procedure> {
        let root = self.root;
        let of_schemes = SchemeKind::ALL.iter().flat_map(|kind| kind.tables());
        let mut keys = KEYS.to_vec();
        of_schemes.clone().for_each(|(key, _)| {
            if !keys.contains(key) {
                keys.push(key);
            }
        });
        root.only(&keys);
        // without a scheme, a direct titration is what was meant
        let kind = root.parsed("scheme", scheme);
        let scheme = SchemeFile {
            root,
            glassware: self.glassware,
            kind: kind.unwrap_or(SchemeKind::Direct),
            common: self.common(),
        };
        if let Some(kind) = kind {
            let mut foreign: Vec<_> = of_schemes.filter(|t| !kind.tables().contains(t)).collect();
            foreign.sort_unstable();
            foreign.dedup();
            for (key, only) in foreign.into_iter().filter(|(key, _)| root.has(key)) {
                let what = format!("found one, expected it only where the scheme {only}");
                root.fault(key, what);
            }
        }
        let read = scheme.kind.read(&scheme);
        Procedure::new(scheme.common?, |_| read.ok_or_else(Vec::new)).ok()
    }

    fn common(&self) -> Option<Common> {
        let root = &self.root;
        let key = root.text("key");
        let title = root.parsed("title", |text| match line_of_text(text)? {
            empty if empty.is_empty() => Err(found("", "a title")),
            title => Ok(title),
        });
        let reactions = reactions(root);
        let sample = root.needed("sample", |section| self.sample(&section));
        let result = root.needed("result", |section| read_result(&section, &reactions));
        let trials = root.needed("trials", |section| trials(&section));
        let uncertainty = match root.table("uncertainty", |section| doubt(&section)) {
            Some(uncertainty) => uncertainty,
            None => Some(ReadingDoubt::default()),
        };
        let marking = root.needed("marking", |section| marking(&section));
        let (text, translations) = root
            .table("text", |section| read_texts(&section))
            .unwrap_or_default();
        let reagents = root.tables("reagents", |section| reagent(&section));
        let reagents = reagents.into_iter().flatten().collect();
        // what does not depend on a faulty table is still checked, so that one look shows every fault
        Some(Common {
            key: key?,
            title: title.unwrap_or_default(),
            reactions,
            sample: sample?,
            result: result?,
            trials: trials.unwrap_or(TrialRules {
                minimum: 1,
                blank: false,
                accept: Accept::All,
                prompt_decimals: true,
            }),
            uncertainty: uncertainty.unwrap_or_default(),
            marking: marking.unwrap_or_default(),
            text,
            translations,
            reagents,
        })
    }

    fn sample(&self, section: &Section) -> Option<Sample> {
        let piece = |key: &str, kinds: &[GlasswareKind]| {
            section.parsed(key, |text| piece(self.glassware, text, kinds))
        };
        section.only(&[
            "by",
            "glassware",
            "nominal",
            "made_up_in",
            "taken_with",
            "species",
            "purity",
            "purity_half_width",
            "portion",
        ]);
        let by = section.parsed("by", |text| {
            let by = SampleBy::from_name(text);
            by.ok_or_else(|| found(text, "volume, mass or mass-difference"))
        });
        let kinds: &[GlasswareKind] = match by {
            Some(SampleBy::Mass | SampleBy::MassDifference) => &[GlasswareKind::Balance],
            Some(SampleBy::Volume) | None => &[
                GlasswareKind::Cylinder,
                GlasswareKind::GraduatedPipette,
                GlasswareKind::Pipette,
                GlasswareKind::Flask,
            ],
        };
        let glassware = piece("glassware", kinds);
        let nominal = section.number("nominal");
        let aliquot = match (section.has("made_up_in"), section.has("taken_with")) {
            (false, false) => Some(None),
            (true, true) => {
                let flask = piece("made_up_in", &[GlasswareKind::Flask]);
                let pipette = piece("taken_with", &[GlasswareKind::Pipette]);
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
        let portion = if section.has("portion") {
            section.parsed("portion", positive).map(Some)
        } else {
            Some(None)
        };
        Some(Sample {
            portion: portion?,
            by: by?,
            glassware: glassware?,
            nominal: nominal?,
            aliquot: aliquot?,
            species: species?,
            purity: purity?,
        })
    }
}

fn positive(text: &str) -> Result<Decimal, String> {
    let number = decimal(text)?;
    (number > Decimal::ZERO)
        .then_some(number)
        .ok_or_else(|| found(text, "a number above 0"))
}

fn scheme(text: &str) -> Result<SchemeKind, String> {
    let mut all = SchemeKind::ALL.iter().copied();
    all.find(|kind| kind.name() == text).ok_or_else(|| {
        let names: Vec<&str> = SchemeKind::ALL.iter().map(|kind| kind.name()).collect();
        found(text, &format!("one of {}", names.join(", ")))
    })
}

fn read_result(section: &Section, reactions: &[Reaction]) -> Option<ResultSpec> {
    section.only(&["analyte", "as", "equivalence", "unit"]);
    let species = |key: &str| {
        if section.has(key) {
            formula(section, key).map(Some)
        } else {
            Some(None)
        }
    };
    let (analyte, expressed_as) = (species("analyte"), species("as"));
    let equivalence = section.parsed_if_any("equivalence", Equivalence::parse);
    let named = || equivalence.as_ref()?.species();
    let expressed_as = expressed_as.map(|written| written.or_else(named));
    let equivalence = equivalence.and_then(|how: Equivalence| {
        let analyte = analyte.as_ref()?.as_ref()?;
        let expressed_as = expressed_as.as_ref()?.as_ref().unwrap_or(analyte);
        let per_analyte = how.per_analyte(analyte, expressed_as, reactions);
        let per_analyte = per_analyte.map_err(|why| section.fault("equivalence", why));
        Some(StatedEquivalence {
            per_analyte: per_analyte.ok()?,
            how,
        })
    });
    let unit = section.parsed("unit", |text| {
        let names: Vec<&str> = ResultUnit::ALL.iter().map(|unit| unit.name()).collect();
        ResultUnit::from_name(text)
            .ok_or_else(|| found(text, &format!("one of {}", names.join(", "))))
    });
    Some(ResultSpec {
        analyte: analyte?,
        expressed_as: expressed_as?,
        equivalence,
        unit: unit?,
    })
}

fn doubt(section: &Section) -> Option<ReadingDoubt> {
    section.only(&[
        "burette_reading_mL",
        "drop_mL",
        "endpoint_bias_mL",
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
    let bias = small("endpoint_bias_mL", usual.endpoint_bias, 5, "mL");
    let percent = |usual| small("repeatability_percent", usual, 10, "%");
    let repeatability = percent(usual.repeatability);
    let temperature = small("temperature_C", usual.temperature, 20, "\u{b0}C");
    Some(ReadingDoubt {
        burette_reading: reading?,
        drop: drop?,
        endpoint_bias: bias?,
        temperature: temperature?,
        repeatability: repeatability?,
    })
}

fn reagent(section: &Section) -> Option<Reagent> {
    section.only(&["name", "strength", "for_one", "per_litre", "note"]);
    let name = section.text("name");
    let for_one = section.parsed("for_one", Amount::parse);
    let per_litre = section.texts("per_litre");
    let ingredient = |text: &String| {
        let read = Ingredient::parse(text);
        read.map_err(|why| section.fault("per_litre", why)).ok()
    };
    Some(Reagent {
        per_litre: per_litre.iter().filter_map(ingredient).collect(),
        strength: section.text_if_any("strength").unwrap_or_default(),
        note: section.text_if_any("note").unwrap_or_default(),
        name: name?,
        for_one: for_one?,
    })
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
            "p.toml:10, key titrant.burette: found “burette-60-b”, expected one of burette-10-0.05-a, burette-10-0.05-b, burette-10-a, burette-10-b, burette-100-a, burette-100-b, burette-25-0.05-a, burette-25-0.05-b, burette-25-a, burette-25-b, burette-50-a, burette-50-b, piston-burette-10, piston-burette-20, piston-burette-25, piston-burette-5, piston-burette-50",
            "p.toml:20, key result.unit: found “mg/l”, expected one of mol/L, mmol/L, g/L, mg/L, %w/w, %w/v, g/mL, mmol/g, ppm, ppb, mg/portion, g/mol, mol/mol, °dH, °f",
            "p.toml:21, key result.colour: found “colour”, expected one of the keys analyte, as, equivalence, unit",
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
                "p.toml:3, key scheme: found “gravimetry”, expected one of direct, indirect, back, standardisation, two-endpoint, gravimetric, heating, density, calibration-line, curve, standard-addition, two-signals"
            ]
        );
        let found = faults(&text.replace("scheme = \"direct\"", "scheme = \"gravimetric\""));
        for expected in [
            "p.toml:6, key titrant: found one, expected it only where the scheme is a titration",
            "p.toml:1, key precipitate: found none, expected a table of that name",
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
