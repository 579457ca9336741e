//! A preparation record as a form: which fields it has, and the record they come to.

use super::entry::{Entry, Faults, Group, Kind, Maker};
use crate::chem::Formula;
use crate::columns::Column;
use crate::files::{RecordText, read_procedure, shipped_procedures};
use crate::ids::ExperimentKey;
use crate::measure::{Class, Glassware, GlasswareKind};
use crate::procedure::{Procedure, ResultUnit, Scheme};
use crate::term::Term;
use crate::web::Fields;

/// Most rows of a form.
const MOST_ROWS: usize = 12;

/// What the record is of.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum What {
    Lot,
    /// An unknown of an experiment.
    Unknown(ExperimentKey),
    /// Unknowns of an experiment, made from one stock.
    Batch(ExperimentKey),
}

/// How the value comes about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum How {
    /// Weighed and made up.
    Weighed,
    Solid,
    /// Diluted from a solution of known molarity.
    Stock,
    /// Titrated against a primary standard.
    Standardised,
    /// Written on a certificate, or found elsewhere.
    Stated,
}

pub struct Sheet<'a> {
    pub what: What,
    pub how: How,
    pub typed: &'a Fields,
    pub term: &'a Term,
}

impl How {
    /// As it is sent.
    pub fn name(self) -> &'static str {
        match self {
            Self::Weighed => "weighed",
            Self::Solid => "solid",
            Self::Stock => "stock",
            Self::Standardised => "standardised",
            Self::Stated => "stated",
        }
    }

    pub fn words(self) -> &'static str {
        match self {
            Self::Weighed => "Weighed and made up",
            Self::Solid => "Weighed into a solid mixture",
            Self::Stock => "Diluted from a known stock",
            Self::Standardised => "Standardised",
            Self::Stated => "Value from a certificate",
        }
    }

    /// The ways in which a value of that kind can come about.
    pub fn of(what: &What, term: &Term) -> Vec<Self> {
        match what {
            What::Lot => vec![Self::Weighed, Self::Stock, Self::Standardised, Self::Stated],
            What::Unknown(key) if is_solid(term, key) => vec![Self::Solid, Self::Stated],
            What::Unknown(_) => vec![Self::Weighed, Self::Stock, Self::Stated],
            What::Batch(key) if is_solid(term, key) => vec![Self::Solid],
            What::Batch(_) => vec![Self::Weighed, Self::Stock],
        }
    }
}

impl<'a> Sheet<'a> {
    /// The form that was asked for: the way it names, or the first there is.
    pub fn new(what: What, typed: &'a Fields, term: &'a Term) -> Self {
        let ways = How::of(&what, term);
        let how = ways.iter().find(|how| how.name() == typed.text("how"));
        Self {
            how: how.or(ways.first()).copied().unwrap_or(How::Stated),
            what,
            typed,
            term,
        }
    }

    /// How many rows it shows.
    pub fn rows(&self) -> usize {
        let least = match (self.how, &self.what) {
            (How::Standardised, _) => 3,
            (How::Stock, What::Lot | What::Unknown(_)) => 1,
            _ => 0,
        };
        let asked = self.typed.text("rows").parse::<usize>().unwrap_or(0);
        let more = usize::from(self.typed.text("do") == "row");
        asked.max(least).saturating_add(more).min(MOST_ROWS)
    }

    /// What the button says that adds a row; none where there are no rows, or no more.
    pub fn more(&self) -> Option<&'static str> {
        let words = match self.how {
            How::Weighed | How::Stock => "One more dilution",
            How::Standardised => "One more titration",
            How::Solid | How::Stated => return None,
        };
        (self.rows() < MOST_ROWS).then_some(words)
    }

    pub fn groups(&self, faults: &Faults) -> Vec<Group> {
        let make = Maker {
            typed: self.typed,
            faults,
        };
        let group = |title: &str, words, entries| Group {
            title: title.to_owned(),
            words,
            entries,
        };
        let mut groups = vec![group("On the bottle", "", self.on_the_bottle(&make))];
        match self.how {
            How::Weighed => groups.push(group("What was weighed", "", self.weighed(&make))),
            How::Solid => groups.push(group("What was weighed", "", self.weighed(&make))),
            How::Stock => groups.push(group(
                "The stock",
                "A solution whose molarity is known, from its own record or certificate.",
                vec![
                    make.entry("formula", "What it holds", "its formula", Kind::Text),
                    make.entry("stock", "Molarity (mol/L)", "", Kind::Decimal),
                    make.entry("stock_u", "Standard uncertainty (mol/L)", "", Kind::Decimal),
                ],
            )),
            How::Standardised => groups.extend(self.standardised(&make)),
            How::Stated => groups.push(group("The value", "", self.stated(&make))),
        }
        if matches!(self.how, How::Weighed | How::Stock) {
            for row in 1..=self.rows() {
                let title = format!("Dilution {row}");
                groups.push(group(&title, "", self.dilution(&make, row)));
            }
        }
        if matches!(self.what, What::Batch(_)) {
            groups.push(group("Each bottle", "", self.each(&make)));
        }
        groups
    }

    fn on_the_bottle(&self, make: &Maker) -> Vec<Entry> {
        let code = "as it stands on the label";
        let mut entries = match self.what {
            What::Lot => vec![
                make.entry("code", "Lot", code, Kind::Text),
                make.entry(
                    "reagent",
                    "Reagent",
                    "its formula as in the procedure",
                    Kind::Text,
                ),
            ],
            What::Unknown(_) => vec![make.entry("code", "Code", code, Kind::Text)],
            What::Batch(_) => Vec::new(),
        };
        entries.push(make.entry("made", "Made on", "optional", Kind::Day));
        entries.push(make.entry("expires", "Use until", "optional", Kind::Day));
        entries
    }

    fn weighed(&self, make: &Maker) -> Vec<Entry> {
        let each = self.how == How::Solid && matches!(self.what, What::Batch(_));
        let balances = self.pieces(&[GlasswareKind::Balance]);
        let mut entries = vec![make.entry(
            "formula",
            "Formula",
            "as weighed, with its water, such as CuSO4.5H2O",
            Kind::Text,
        )];
        if !each {
            let hint = "as the balance showed it";
            entries.push(make.entry("weighed", "Weighed (g)", hint, Kind::Decimal));
        }
        if self.how == How::Solid && !each {
            let hint = "of the whole mixture";
            entries.push(make.entry("total", "Total mass (g)", hint, Kind::Decimal));
        }
        entries.push(make.entry("balance", "Balance", "", Kind::Choice(balances)));
        let hint = "mass fraction, such as 0.995; empty for 1";
        entries.push(make.entry("purity", "Purity", hint, Kind::Decimal));
        let hint = "half-width, such as 0.002; empty for none";
        entries.push(make.entry("purity_u", "Purity is within ±", hint, Kind::Decimal));
        if self.how == How::Weighed {
            let flasks = self.pieces(&[GlasswareKind::Flask]);
            entries.push(make.entry("flask", "Made up in", "", Kind::Choice(flasks)));
        }
        entries
    }

    fn stated(&self, make: &Maker) -> Vec<Entry> {
        let unit = match &self.what {
            What::Lot => "mol/L",
            What::Unknown(key) | What::Batch(key) => unit_of(self.term, key),
        };
        vec![
            make.entry("value", format!("Value ({unit})"), "", Kind::Decimal),
            make.entry(
                "uncertainty",
                format!("Standard uncertainty ({unit})"),
                "half the expanded uncertainty of a certificate with k = 2",
                Kind::Decimal,
            ),
        ]
    }

    fn dilution(&self, make: &Maker, row: usize) -> Vec<Entry> {
        let taken = self.pieces(&[GlasswareKind::Pipette, GlasswareKind::Burette]);
        let flasks = self.pieces(&[GlasswareKind::Flask]);
        vec![
            make.entry(
                format!("taken.{row}"),
                "Taken with",
                "",
                Kind::Choice(taken),
            ),
            make.entry(
                format!("volume.{row}"),
                "Volume from a burette (mL)",
                "empty for a pipette",
                Kind::Decimal,
            ),
            make.entry(
                format!("flask.{row}"),
                "Made up in",
                "",
                Kind::Choice(flasks),
            ),
        ]
    }

    fn standardised(&self, make: &Maker) -> Vec<Group> {
        let reagent = Formula::parse(self.typed.text("reagent")).ok();
        let known = standardisations(self.term);
        let fits = |p: &&Procedure| {
            let titrant = p.titrant.as_ref().map(|t| &t.species);
            reagent.as_ref().is_none_or(|r| titrant == Some(r))
        };
        let choices = known.iter().filter(fits);
        let choices = choices.map(|p| (p.key.clone(), p.title.clone())).collect();
        let mut groups = vec![Group {
            title: "Against what".into(),
            words: "",
            entries: vec![make.entry("procedure", "Procedure", "", Kind::Choice(choices))],
        }];
        let Some(procedure) = self.procedure() else {
            return groups;
        };
        for row in 1..=self.rows() {
            let columns = Column::of(&procedure, 1);
            groups.push(Group {
                title: format!("Titration {row}"),
                words: "",
                entries: columns
                    .iter()
                    .map(|c| make.entry(format!("{c}.{row}"), c.label(), "", Kind::Decimal))
                    .collect(),
            });
        }
        groups
    }

    fn each(&self, make: &Maker) -> Vec<Entry> {
        if self.how == How::Solid {
            let hint = "a line for each: code, g weighed, g in all, as in U01, 0.4012, 2.0051";
            return vec![make.entry("many", "Bottles", hint, Kind::Lines)];
        }
        let mut ways = self.pieces(&[GlasswareKind::Burette]);
        for class in ["a", "b"] {
            let words = format!("pipettes, class {}", class.to_uppercase());
            ways.push((format!("pipettes-{class}"), words));
        }
        let flasks = self.pieces(&[GlasswareKind::Flask]);
        vec![
            make.entry("taken", "Taken with", "", Kind::Choice(ways)),
            make.entry("made_up", "Each made up in", "", Kind::Choice(flasks)),
            make.entry(
                "many",
                "Bottles",
                "a line for each: code and mL of the stock, as in U01, 31.20; lines from a spreadsheet do as well",
                Kind::Lines,
            ),
        ]
    }

    fn pieces(&self, kinds: &[GlasswareKind]) -> Vec<(String, String)> {
        let of = |piece: &&Glassware| kinds.contains(&piece.kind());
        let mut pieces: Vec<&Glassware> = self.term.glassware.iter().filter(of).collect();
        let rank = |p: &&Glassware| (p.kind().name(), p.class() == Some(Class::B), p.capacity());
        pieces.sort_by_key(rank);
        let choice = |piece: &Glassware| (piece.key().to_owned(), piece.title());
        pieces.into_iter().map(choice).collect()
    }

    /// The procedure of a standardisation.
    pub fn procedure(&self) -> Option<Procedure> {
        let wanted = self.typed.text("procedure");
        let mut known = standardisations(self.term).into_iter();
        known.find(|p| p.key == wanted)
    }

    /// What the form comes to, as the text of a record.
    pub fn record(&self) -> RecordText {
        let mut record = RecordText::default();
        match &self.what {
            What::Lot => {
                record.heading("[[lot]]", "code");
                record.entry("lot", self.typed.text("code"), "code");
                record.entry("reagent", self.typed.text("reagent"), "reagent");
                self.days(&mut record);
                if self.how == How::Standardised {
                    self.titrations(&mut record);
                } else {
                    self.prepared(&mut record, "lot", None);
                }
            }
            What::Unknown(key) => {
                self.unknown(&mut record, key, self.typed.text("code"), "code");
                self.prepared(&mut record, "unknown", None);
            }
            What::Batch(key) => super::batch::lines(self, &mut record, key),
        }
        record
    }

    /// The head of an unknown's record.
    pub fn unknown(&self, record: &mut RecordText, key: &ExperimentKey, code: &str, field: &str) {
        record.heading("[[unknown]]", field);
        record.entry("experiment", key, field);
        record.entry("unknown", code, field);
        self.days(record);
    }

    fn days(&self, record: &mut RecordText) {
        for day in ["made", "expires"] {
            let text = self.typed.text(day);
            if !text.is_empty() {
                record.entry(day, text, day);
            }
        }
    }

    /// The table of what was weighed and diluted; of a solid batch, with the masses of one bottle.
    pub fn prepared(&self, record: &mut RecordText, of: &str, solid: Option<([&str; 2], &str)>) {
        record.heading(&format!("[{of}.prepared]"), "formula");
        record.entry("formula", self.typed.text("formula"), "formula");
        if self.how == How::Stock {
            record.number("stock_mol_per_L", self.typed.text("stock"), "stock");
            record.number(
                "stock_standard_uncertainty_mol_per_L",
                self.typed.text("stock_u"),
                "stock_u",
            );
        } else {
            let own = [self.typed.text("weighed"), self.typed.text("total")];
            let (masses, fields) = match solid {
                Some((masses, field)) => (masses, [field, field]),
                None => (own, ["weighed", "total"]),
            };
            record.number("weighed_g", masses[0], fields[0]);
            record.entry("balance", self.typed.text("balance"), "balance");
            record.number_if_any("purity", self.typed.text("purity"), "purity");
            record.number_if_any("purity_half_width", self.typed.text("purity_u"), "purity_u");
            if self.how == How::Solid {
                record.number("total_g", masses[1], fields[1]);
            } else {
                record.entry("flask", self.typed.text("flask"), "flask");
            }
        }
        for row in 1..=self.rows() {
            let names = ["taken", "volume", "flask"].map(|name| format!("{name}.{row}"));
            let texts = names.each_ref().map(|name| self.typed.text(name));
            if texts.iter().any(|text| !text.is_empty()) {
                self.part(record, of, texts, names.each_ref().map(String::as_str));
            }
        }
    }

    pub fn part(
        &self,
        record: &mut RecordText,
        of: &str,
        [taken, volume, flask]: [&str; 3],
        fields: [&str; 3],
    ) {
        record.heading(&format!("[[{of}.prepared.dilutions]]"), fields[0]);
        let kind = self.term.glassware.get(taken).map(Glassware::kind);
        if kind == Some(GlasswareKind::Burette) {
            record.entry("burette", taken, fields[0]);
            record.number("volume_mL", volume, fields[1]);
        } else {
            record.entry("pipette", taken, fields[0]);
            record.number_if_any("volume_mL", volume, fields[1]);
        }
        record.entry("flask", flask, fields[2]);
    }

    fn titrations(&self, record: &mut RecordText) {
        record.heading("[lot.standardised]", "procedure");
        record.entry("procedure", self.typed.text("procedure"), "procedure");
        let Some(procedure) = self.procedure() else {
            return;
        };
        for row in 1..=self.rows() {
            let columns = Column::of(&procedure, 1);
            let name = |column: &Column| format!("{column}.{row}");
            let is_empty = |column: &Column| self.typed.text(&name(column)).is_empty();
            if columns.iter().all(is_empty) {
                continue;
            }
            let first = columns.first().map(name).unwrap_or_default();
            record.heading("[[lot.standardised.titrations]]", &first);
            for column in &columns {
                // readings stay as they are written
                record.entry(
                    &column.to_string(),
                    self.typed.text(&name(column)),
                    &name(column),
                );
            }
        }
    }
}

/// Standardisations with a result in mol/L: the course's own, then the shipped ones.
fn standardisations(term: &Term) -> Vec<Procedure> {
    let mut texts = term.sources.procedures.clone();
    for (key, text) in shipped_procedures() {
        texts.entry(key).or_insert(text);
    }
    let read = |(key, text): (&String, &String)| {
        let procedure = read_procedure(key, text, &term.glassware).ok()?;
        let fits = procedure.scheme == Scheme::Standardisation
            && procedure.result.unit == ResultUnit::MolPerL;
        fits.then_some(procedure)
    };
    texts.iter().filter_map(read).collect()
}

fn is_solid(term: &Term, key: &ExperimentKey) -> bool {
    let experiment = term.experiment(key);
    experiment.is_some_and(|e| e.procedure.result.unit == ResultUnit::PercentMass)
}

/// The unit of an experiment's results.
pub fn unit_of(term: &Term, key: &ExperimentKey) -> &'static str {
    let experiment = term.experiment(key);
    experiment.map_or("", |e| e.procedure.result.unit.name())
}
