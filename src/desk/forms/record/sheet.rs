//! A preparation record as fields, and the record they come to.

use super::super::stated::reagents;
use super::{How, What, batch};
use crate::changes::day_fields;
use crate::chem::Formula;
use crate::columns::Column;
use crate::files::{RecordText, read_procedure, shipped_procedures};
use crate::form::{Choices, Field, Group, Kind, Typed};
use crate::ids::ExperimentKey;
use crate::measure::{Class, Glassware, GlasswareKind};
use crate::procedure::{Procedure, ResultUnit};
use crate::term::Term;

/// What may be said of the work: the field, its label and hint, and the key of the record.
pub const CONDITIONS: [(&str, &str, &str, &str); 3] = [
    (
        "temperature",
        "Temperature within (\u{b0}C)",
        "of 20 \u{b0}C, such as 4",
        "temperature_C",
    ),
    (
        "filling",
        "Filling to a mark (mL)",
        "standard deviation, such as 0.02",
        "repeatability_mL",
    ),
    (
        "weighing",
        "Weighing (g)",
        "standard deviation of a mass, such as 0.00005",
        "repeatability_g",
    ),
];

/// Most rows of a form.
const MOST_ROWS: usize = 12;

/// A record in the making.
pub struct Sheet<'a> {
    pub what: &'a What,
    pub how: How,
    pub typed: &'a Typed,
    pub term: &'a Term,
}

impl<'a> Sheet<'a> {
    /// The form that was asked for.
    pub fn new(what: &'a What, typed: &'a Typed, term: &'a Term) -> Self {
        Self {
            how: How::asked(what, typed, term),
            what,
            typed,
            term,
        }
    }

    /// How many rows it shows.
    pub fn rows(&self) -> usize {
        let least = match (self.how, self.what) {
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

    pub fn groups(&self) -> Vec<Group> {
        let mut groups = vec![group("On the bottle", "", self.on_the_bottle())];
        match self.how {
            How::Weighed => groups.push(group("What was weighed", "", self.weighed())),
            How::Solid => groups.push(group("What was weighed", "", self.weighed())),
            How::Stock => groups.push(group(
                "The stock",
                "A solution whose molarity is known, from its own record or certificate.",
                vec![
                    entry("formula", "What it holds", "its formula", Kind::Text),
                    entry("stock", "Molarity (mol/L)", "", Kind::Decimal),
                    entry("stock_u", "Standard uncertainty (mol/L)", "", Kind::Decimal),
                ],
            )),
            How::Standardised => groups.extend(self.standardised()),
            How::Stated => {}
        }
        if matches!(self.how, How::Weighed | How::Stock) {
            for row in 1..=self.rows() {
                let title = format!("Dilution {row}");
                groups.push(group(&title, "", self.dilution(row)));
            }
        }
        if self.is_prepared() {
            groups.push(group(
                "How well it was done",
                "All may stay empty: they are added to the tolerances of balance and glassware.",
                CONDITIONS
                    .map(|(name, label, hint, _)| entry(name, label, hint, Kind::Decimal))
                    .into(),
            ));
        }
        if matches!(self.what, What::Batch(_)) {
            groups.push(group("Each bottle", "", self.each()));
        }
        groups
    }

    fn is_prepared(&self) -> bool {
        matches!(self.how, How::Weighed | How::Solid | How::Stock)
    }

    fn on_the_bottle(&self) -> Vec<Field> {
        let code = "as it stands on the label";
        let mut entries = match self.what {
            What::Lot => vec![
                entry("code", "Lot", code, Kind::Code),
                entry(
                    "reagent",
                    "Reagent",
                    "its formula as in the procedure",
                    Kind::Text,
                )
                .suggest(reagents(self.term)),
            ],
            What::Unknown(_) => vec![entry("code", "Code", code, Kind::Code)],
            What::Batch(_) => Vec::new(),
        };
        entries.extend(day_fields());
        entries
    }

    fn weighed(&self) -> Vec<Field> {
        let each = self.how == How::Solid && matches!(self.what, What::Batch(_));
        let balances = self.pieces(&[GlasswareKind::Balance]);
        let mut entries = vec![entry(
            "formula",
            "Formula",
            "as weighed, with its water, such as CuSO4.5H2O",
            Kind::Text,
        )];
        if !each {
            let hint = "as the balance showed it";
            entries.push(entry("weighed", "Weighed (g)", hint, Kind::Decimal));
        }
        if self.how == How::Solid && !each {
            let hint = "of the whole mixture";
            entries.push(entry("total", "Total mass (g)", hint, Kind::Decimal));
        }
        entries.push(entry("balance", "Balance", "", choice(balances)));
        let hint = "mass fraction, such as 0.995; empty for 1";
        entries.push(entry("purity", "Purity", hint, Kind::Decimal));
        let hint = "half-width, such as 0.002; empty for none";
        entries.push(entry("purity_u", "Purity is within ±", hint, Kind::Decimal));
        if self.how == How::Weighed {
            let flasks = self.pieces(&[GlasswareKind::Flask]);
            entries.push(entry("flask", "Made up in", "", choice(flasks)));
        }
        entries
    }

    fn dilution(&self, row: usize) -> Vec<Field> {
        let taken = self.pieces(&[GlasswareKind::Pipette, GlasswareKind::Burette]);
        let flasks = self.pieces(&[GlasswareKind::Flask]);
        vec![
            entry(format!("taken.{row}"), "Taken with", "", choice(taken)),
            entry(
                format!("volume.{row}"),
                "Volume from a burette (mL)",
                "empty for a pipette",
                Kind::Decimal,
            ),
            entry(format!("flask.{row}"), "Made up in", "", choice(flasks)),
        ]
    }

    fn standardised(&self) -> Vec<Group> {
        let reagent = Formula::parse(self.typed.text("reagent")).ok();
        let known = standardisations(self.term);
        let fits = |p: &&Procedure| {
            let titrant = p.titrant().map(|t| &t.species);
            reagent.as_ref().is_none_or(|r| titrant == Some(r))
        };
        let choices = known.iter().filter(fits);
        let choices = choices.map(|p| (p.key.clone(), p.title.clone())).collect();
        let against = entry("procedure", "Procedure", "", choice(choices));
        let mut groups = vec![group("Against what", "", vec![against])];
        let Some(procedure) = self.procedure() else {
            return groups;
        };
        for row in 1..=self.rows() {
            let columns = Column::of(&procedure, 1);
            let reading = |c: &Column| entry(format!("{c}.{row}"), &c.label(), "", Kind::Decimal);
            let fields = columns.iter().map(reading).collect();
            groups.push(group(&format!("Titration {row}"), "", fields));
        }
        groups
    }

    fn each(&self) -> Vec<Field> {
        if self.how == How::Solid {
            let hint = "a line for each: code, g weighed, g in all, as in U01, 0.4012, 2.0051";
            return vec![entry("many", "Bottles", hint, Kind::Lines(13))];
        }
        let mut ways = self.pieces(&[GlasswareKind::Burette]);
        for class in ["a", "b"] {
            let words = format!("pipettes, class {}", class.to_uppercase());
            ways.push((format!("pipettes-{class}"), words));
        }
        let flasks = self.pieces(&[GlasswareKind::Flask]);
        vec![
            entry("taken", "Taken with", "", choice(ways)),
            entry("made_up", "Each made up in", "", choice(flasks)),
            entry(
                "many",
                "Bottles",
                "a line for each: code and mL of the stock, as in U01, 31.20; lines from a spreadsheet do as well",
                Kind::Lines(13),
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
        match self.what {
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
            What::Batch(key) => batch::lines(self, &mut record, key),
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
        for (name, _, _, key) in CONDITIONS {
            record.number_if_any(key, self.typed.text(name), name);
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
        let fits = procedure.is_standardisation() && procedure.result.unit == ResultUnit::MolPerL;
        fits.then_some(procedure)
    };
    texts.iter().filter_map(read).collect()
}

fn entry(name: impl Into<String>, label: &str, hint: &str, kind: Kind) -> Field {
    Field::new(name, label, kind).hint(hint)
}

fn group(title: &str, words: &str, fields: Vec<Field>) -> Group {
    Group {
        title: title.to_owned(),
        words: words.to_owned(),
        fields,
    }
}

fn choice(options: Vec<(String, String)>) -> Kind {
    Kind::Choice(Choices {
        options,
        nothing: Some("choose"),
        expected: "one of the list",
    })
}
