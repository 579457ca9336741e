//! What was typed, read as the form declares it.

use std::collections::BTreeMap;

use jiff::civil;
use rust_decimal::Decimal;

use super::{Choices, Faults, Field, Form, Kind, Typed};
use crate::language::{Message, message};
use crate::measure::Reading;
use crate::text;

/// Values of a form's fields. What cannot be read has no value and is among the faults.
pub struct Read<'t> {
    typed: &'t Typed,
    values: BTreeMap<String, Value>,
    faults: Faults,
}

enum Value {
    Text(String),
    Decimal(Decimal),
    Answer(Reading),
    Whole(u32),
    Day(civil::Date),
    LocalTime(civil::DateTime),
}

impl<'t> Read<'t> {
    pub(super) fn new(form: &Form, typed: &'t Typed) -> Self {
        let (mut values, mut faults) = (BTreeMap::new(), Faults::default());
        for field in form.fields() {
            match value(field, typed.text(&field.name)) {
                Ok(Some(value)) => {
                    values.insert(field.name.clone(), value);
                }
                Ok(None) => {}
                Err(what) => faults.add(&field.name, what),
            }
        }
        Self {
            typed,
            values,
            faults,
        }
    }

    /// A text, a code or a choice that is sound; empty where nothing was typed.
    pub fn text(&self, name: &str) -> Option<&str> {
        let Value::Text(text) = self.values.get(name)? else {
            return None;
        };
        Some(text)
    }

    /// A text, a code or a choice that is sound and says something.
    pub fn said(&self, name: &str) -> Option<&str> {
        self.text(name).filter(|text| !text.is_empty())
    }

    pub fn decimal(&self, name: &str) -> Option<Decimal> {
        let Value::Decimal(value) = self.values.get(name)? else {
            return None;
        };
        Some(*value)
    }

    pub fn answer(&self, name: &str) -> Option<Reading> {
        let Value::Answer(value) = self.values.get(name)? else {
            return None;
        };
        Some(value.clone())
    }

    pub fn whole(&self, name: &str) -> Option<u32> {
        let Value::Whole(value) = self.values.get(name)? else {
            return None;
        };
        Some(*value)
    }

    pub fn day(&self, name: &str) -> Option<civil::Date> {
        let Value::Day(value) = self.values.get(name)? else {
            return None;
        };
        Some(*value)
    }

    pub fn local_time(&self, name: &str) -> Option<civil::DateTime> {
        let Value::LocalTime(value) = self.values.get(name)? else {
            return None;
        };
        Some(*value)
    }

    pub fn is_ticked(&self, name: &str) -> bool {
        self.typed.text(name) == "yes"
    }

    /// Those of a few that were ticked.
    pub fn several(&self, name: &str) -> Vec<String> {
        let name = format!("{name}[]");
        self.typed.list(&name).map(str::to_owned).collect()
    }

    /// Finds a fault with a field.
    pub fn fault(&mut self, field: impl Into<String>, what: impl Into<Message>) {
        self.faults.add(field, what);
    }

    /// What a check says, or nothing and its fault with the field.
    pub fn keep<T>(&mut self, field: &str, checked: Result<T, impl Into<Message>>) -> Option<T> {
        checked.map_err(|what| self.faults.add(field, what)).ok()
    }

    /// Whether everything is sound so far.
    pub fn is_sound(&self) -> bool {
        self.faults.is_empty()
    }

    /// Whether everything is sound.
    pub fn check(&self) -> Result<(), Faults> {
        self.faults.clone().check()
    }

    pub fn into_faults(self) -> Faults {
        self.faults
    }
}

fn value(field: &Field, text: &str) -> Result<Option<Value>, Message> {
    let nothing = text.is_empty();
    let needs = |what: Message| match nothing && field.needed {
        true => Err(what),
        false => Ok(()),
    };
    Ok(match &field.kind {
        Kind::Text => {
            needs(message!("form.nothing-text"))?;
            let line = text::line_within(text, field.longest);
            let too_long =
                |_| message!("form.line", found = text::shown(text), most = field.longest);
            Some(Value::Text(line.map_err(too_long)?))
        }
        Kind::Code if nothing && !field.needed => Some(Value::Text(String::new())),
        Kind::Code => Some(Value::Text(text::code(text).map_err(|_| not_a_code(text))?)),
        Kind::Decimal => {
            needs(message!("form.nothing-number"))?;
            let read = || text::decimal(&text.replace(',', ".")).map_err(|_| not_plain(text));
            (!nothing).then(read).transpose()?.map(Value::Decimal)
        }
        Kind::Answer(unit) => {
            let read = Reading::parse_answer_in(text, |text| unit.is_written(text));
            let read = read.map_err(Message::from);
            Some(Value::Answer(read?))
        }
        Kind::Whole(range) if field.needed || !nothing => {
            Some(Value::Whole(text::whole(text, range.clone())?))
        }
        Kind::Day if field.needed || !nothing => Some(Value::Day(text::day(text)?)),
        Kind::LocalTime if field.needed || !nothing => {
            Some(Value::LocalTime(text::local_time(text)?))
        }
        Kind::Choice(choices) | Kind::Pick(choices) => chosen(field, choices, text)?,
        Kind::Hidden => Some(Value::Text(text.to_owned())),
        Kind::Whole(_) | Kind::Day | Kind::LocalTime => None,
        Kind::Several(_) | Kind::Files { .. } | Kind::Lines(_) => None,
        Kind::Prose(_) | Kind::Tick | Kind::Password => None,
    })
}

/// What was typed is shown, not what it was made to be read.
fn not_plain(text: &str) -> String {
    text::found(text, "a plain number such as 0.0100")
}

fn not_a_code(text: &str) -> Message {
    match text.trim() {
        "" => message!("form.nothing-code"),
        text => message!("form.code", found = text::shown(text)),
    }
}

fn chosen(field: &Field, choices: &Choices, text: &str) -> Result<Option<Value>, Message> {
    if text.is_empty() && !field.needed {
        return Ok(Some(Value::Text(String::new())));
    }
    match choices.options.iter().any(|(value, _)| value == text) {
        true => Ok(Some(Value::Text(text.to_owned()))),
        false => Err(text::found(text, choices.expected).into()),
    }
}
