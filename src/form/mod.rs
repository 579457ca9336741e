//! Forms as data: a field is declared once, and page, parsing, error text and help follow from it.
//!
//! [`Form`] says what is asked, [`Typed`] is what came, [`Read`] what it means, and [`Filled`] all of it for a page.

mod filled;
mod read;
mod typed;

use std::fmt;
use std::ops::RangeInclusive;

use crate::language::{Language, Message};
use crate::procedure::ResultUnit;

pub use filled::{Filled, FormFault};
pub use read::Read;
pub use typed::Typed;

/// What is asked of somebody.
#[derive(Clone, Debug, Default)]
pub struct Form {
    pub title: String,
    /// What to know before it is filled in.
    pub words: String,
    pub groups: Vec<Group>,
    /// What to know before it is sent.
    pub note: String,
    pub buttons: Vec<Button>,
    /// Whether groups are the rows of a table, with the labels of their fields as its head.
    pub rows: bool,
    /// What it is written in.
    pub language: Language,
    /// Put before names to make ids, where a page has several forms with fields of one name.
    pub prefix: &'static str,
}

/// Fields that belong together.
#[derive(Clone, Debug, Default)]
pub struct Group {
    pub title: String,
    pub words: String,
    pub fields: Vec<Field>,
}

/// One thing that is asked.
#[derive(Clone, Debug)]
pub struct Field {
    pub name: String,
    pub label: String,
    pub hint: String,
    pub kind: Kind,
    /// Whether something has to be said.
    pub needed: bool,
    /// What may be typed, each with a word about it.
    pub suggestions: Vec<(String, String)>,
    /// For the browser's own memory.
    pub autocomplete: &'static str,
    /// Whether it has a line to itself.
    pub wide: bool,
    /// What it is sent with, whatever was typed.
    pub fixed: Option<String>,
    /// The most characters it takes.
    pub longest: usize,
}

/// How a field is filled in.
#[derive(Clone, Debug)]
pub enum Kind {
    /// A line of text.
    Text,
    /// An id or a code.
    Code,
    /// A number, with a point or a comma.
    Decimal,
    /// A student's result, which keeps the digits it was written with; its unit may stand behind it.
    Answer(ResultUnit),
    Whole(RangeInclusive<u32>),
    Day,
    LocalTime,
    /// One of a list.
    Choice(Choices),
    /// One of a few, all of them in sight.
    Pick(Choices),
    /// Any of a few; it is sent as `name[]`.
    Several(Vec<(String, String)>),
    /// One file, or several; what the browser is to offer.
    Files {
        accept: &'static str,
        several: bool,
    },
    /// As many lines as somebody likes; how tall the box is.
    Lines(u8),
    Prose(u8),
    Tick,
    Password,
    /// Sent along without being shown.
    Hidden,
}

/// What can be chosen.
#[derive(Clone, Debug, Default)]
pub struct Choices {
    /// What is sent, and what it says.
    pub options: Vec<(String, String)>,
    /// What choosing nothing says; none where something is always chosen.
    pub nothing: Option<&'static str>,
    /// What a fault says was expected.
    pub expected: &'static str,
}

/// A way to send a form.
#[derive(Clone, Debug)]
pub struct Button {
    pub words: String,
    /// Less likely to be wanted than the first.
    pub quiet: bool,
    /// The field it adds.
    pub sends: Option<(&'static str, &'static str)>,
    /// Whether it asks what the form would change before anything is.
    pub looks: bool,
}

/// What is wrong with what was typed: the field and a sentence.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Faults(Vec<(String, Message)>);

impl Form {
    /// A form of one group without a title.
    pub fn of(fields: Vec<Field>) -> Self {
        Self::default().group("", fields)
    }

    pub fn title(mut self, title: impl Into<String>) -> Self {
        self.title = title.into();
        self
    }

    pub fn words(mut self, words: impl Into<String>) -> Self {
        self.words = words.into();
        self
    }

    /// What faults are said in.
    pub fn in_language(mut self, language: Language) -> Self {
        self.language = language;
        self
    }

    pub fn note(mut self, note: impl Into<String>) -> Self {
        self.note = note.into();
        self
    }

    pub fn group(mut self, title: impl Into<String>, fields: Vec<Field>) -> Self {
        self.groups.push(Group {
            title: title.into(),
            words: String::new(),
            fields,
        });
        self
    }

    /// With groups as rows of a table.
    pub fn in_rows(mut self) -> Self {
        self.rows = true;
        self
    }

    /// With a button that does it.
    pub fn enter(mut self, words: impl Into<String>) -> Self {
        self.buttons.push(Button::new(words));
        self
    }

    /// With a button that asks what it would change.
    pub fn look(mut self, words: impl Into<String>) -> Self {
        self.buttons.push(Button {
            quiet: !self.buttons.is_empty(),
            looks: true,
            ..Button::new(words)
        });
        self
    }

    pub fn fields(&self) -> impl Iterator<Item = &Field> {
        self.groups.iter().flat_map(|group| &group.fields)
    }

    pub fn field(&self, name: &str) -> Option<&Field> {
        self.fields().find(|field| field.name == name)
    }

    /// The fields of the first row, whose labels are the head of the table.
    pub fn heads(&self) -> &[Field] {
        self.groups.first().map_or(&[], |group| &group.fields)
    }

    /// What people call a field: its label, with that of its row where it stands in one.
    pub fn label(&self, name: &str) -> String {
        let is_it = |field: &&Field| field.name == name;
        for group in &self.groups {
            let Some(field) = group.fields.iter().find(is_it) else {
                continue;
            };
            return match self.rows {
                true => format!("{}, {}", group.title, field.label.to_lowercase()),
                false => field.label.clone(),
            };
        }
        self.title.clone()
    }

    /// What was typed, read field by field.
    pub fn read<'t>(&self, typed: &'t Typed) -> Read<'t> {
        Read::new(self, typed)
    }

    /// Whether a file comes with it.
    pub fn has_files(&self) -> bool {
        let is_file = |field: &Field| matches!(field.kind, Kind::Files { .. });
        self.fields().any(is_file)
    }

    /// Whether it is sent by one of the buttons.
    pub fn is_sent_by_button(&self, name: &str) -> bool {
        let sends = |button: &Button| button.sends.is_some_and(|(sent, _)| sent == name);
        self.buttons.iter().any(sends)
    }

    /// The form filled in, for a page; it goes to `action`.
    pub fn filled(self, action: impl Into<String>, typed: Typed, faults: Faults) -> Filled {
        Filled {
            form: self,
            action: action.into(),
            typed,
            faults,
        }
    }
}

impl Group {
    /// Whether none of it is seen.
    pub fn is_hidden(&self) -> bool {
        let is_hidden = |field: &Field| matches!(field.kind, Kind::Hidden);
        self.fields.iter().all(is_hidden)
    }
}

impl Button {
    pub fn new(words: impl Into<String>) -> Self {
        Self {
            words: words.into(),
            quiet: false,
            sends: None,
            looks: false,
        }
    }

    pub fn quiet(mut self) -> Self {
        self.quiet = true;
        self
    }

    pub fn sends(mut self, name: &'static str, value: &'static str) -> Self {
        self.sends = Some((name, value));
        self
    }
}

impl Field {
    pub fn new(name: impl Into<String>, label: impl Into<String>, kind: Kind) -> Self {
        Self {
            longest: match kind {
                Kind::Code => crate::ids::LONGEST,
                _ => 200,
            },
            name: name.into(),
            label: label.into(),
            hint: String::new(),
            kind,
            needed: false,
            suggestions: Vec::new(),
            autocomplete: "",
            wide: false,
            fixed: None,
        }
    }

    pub fn text(name: impl Into<String>, label: impl Into<String>) -> Self {
        Self::new(name, label, Kind::Text)
    }

    pub fn code(name: impl Into<String>, label: impl Into<String>) -> Self {
        Self::new(name, label, Kind::Code).needed()
    }

    pub fn decimal(name: impl Into<String>, label: impl Into<String>) -> Self {
        Self::new(name, label, Kind::Decimal)
    }

    pub fn day(name: impl Into<String>, label: impl Into<String>) -> Self {
        Self::new(name, label, Kind::Day)
    }

    pub fn local_time(name: impl Into<String>, label: impl Into<String>) -> Self {
        Self::new(name, label, Kind::LocalTime)
    }

    pub fn tick(name: impl Into<String>, label: impl Into<String>) -> Self {
        Self::new(name, label, Kind::Tick)
    }

    pub fn hidden(name: impl Into<String>) -> Self {
        Self::new(name, "", Kind::Hidden)
    }

    /// A list to choose from, or nothing of it.
    pub fn choice(
        name: impl Into<String>,
        label: impl Into<String>,
        nothing: &'static str,
        options: Vec<(String, String)>,
    ) -> Self {
        let choices = Choices {
            options,
            nothing: Some(nothing),
            expected: "one of the list",
        };
        Self::new(name, label, Kind::Choice(choices))
    }

    /// A list of which one is always chosen.
    pub fn of_list(
        name: impl Into<String>,
        label: impl Into<String>,
        options: Vec<(String, String)>,
    ) -> Self {
        let choices = Choices {
            options,
            nothing: None,
            expected: "one of the list",
        };
        Self::new(name, label, Kind::Choice(choices))
    }

    /// A few to pick one of.
    pub fn pick(
        name: impl Into<String>,
        label: impl Into<String>,
        options: &[(&str, &str)],
    ) -> Self {
        let owned = |(value, words): &(&str, &str)| ((*value).to_owned(), (*words).to_owned());
        let choices = Choices {
            options: options.iter().map(owned).collect(),
            nothing: None,
            expected: "one of the choices",
        };
        Self::new(name, label, Kind::Pick(choices))
    }

    pub fn hint(mut self, hint: impl Into<String>) -> Self {
        self.hint = hint.into();
        self
    }

    pub fn needed(mut self) -> Self {
        self.needed = true;
        self
    }

    pub fn wide(mut self) -> Self {
        self.wide = true;
        self
    }

    pub fn fixed(mut self, value: impl Into<String>) -> Self {
        self.fixed = Some(value.into());
        self
    }

    pub fn longest(mut self, longest: usize) -> Self {
        self.longest = longest;
        self
    }

    pub fn autocomplete(mut self, what: &'static str) -> Self {
        self.autocomplete = what;
        self
    }

    pub fn suggest(mut self, suggestions: Vec<(String, String)>) -> Self {
        self.suggestions = suggestions;
        self
    }

    /// With other words for what a choice has to be.
    pub fn expected(mut self, expected: &'static str) -> Self {
        if let Kind::Choice(choices) | Kind::Pick(choices) = &mut self.kind {
            choices.expected = expected;
        }
        self
    }
}

/// Names as choices that say what they are.
pub fn named(names: impl IntoIterator<Item = impl AsRef<str>>) -> Vec<(String, String)> {
    let one = |name: String| (name.clone(), name);
    let names = names.into_iter().map(|name| name.as_ref().to_owned());
    names.map(one).collect()
}

impl Faults {
    /// One field at fault.
    pub fn one(field: impl Into<String>, what: impl Into<Message>) -> Self {
        let mut faults = Self::default();
        faults.add(field, what);
        faults
    }

    /// “found …, expected …” of one field.
    pub fn found(field: &str, found: &str, expected: &str) -> Self {
        Self::one(field, crate::text::found(found, expected))
    }

    pub fn add(&mut self, field: impl Into<String>, what: impl Into<Message>) {
        let fault = (field.into(), what.into());
        if !self.0.contains(&fault) {
            self.0.push(fault);
        }
    }

    pub fn extend(&mut self, other: Self) {
        self.0.extend(other.0);
    }

    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// Fields and sentences in order.
    pub fn iter(&self) -> impl Iterator<Item = (&str, &Message)> {
        self.0.iter().map(|(field, what)| (field.as_str(), what))
    }

    /// What is wrong with a field, in English.
    pub fn of(&self, field: &str) -> Option<String> {
        self.said_of(field, Language::English)
    }

    /// What is wrong with a field.
    pub fn said_of(&self, field: &str, language: Language) -> Option<String> {
        let own = self.iter().filter(|(name, _)| *name == field);
        let said: Vec<String> = own.map(|(_, what)| language.say(what)).collect();
        (!said.is_empty()).then(|| said.join("; "))
    }

    /// Whether it is only that field.
    pub fn only(&self, field: &str) -> bool {
        !self.is_empty() && self.iter().all(|(name, _)| name == field)
    }

    /// Nothing where there is no fault.
    pub fn check(self) -> Result<(), Self> {
        if self.is_empty() { Ok(()) } else { Err(self) }
    }
}

impl fmt::Display for Faults {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let said: Vec<String> = self
            .iter()
            .map(|(n, what)| format!("{n}: {what}"))
            .collect();
        f.write_str(&said.join("; "))
    }
}
