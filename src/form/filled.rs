//! A form as a page shows it: what is asked, what was typed, what is wrong with it.

use super::{Faults, Field, Form, Kind, Typed};
use crate::language::Message;

/// A form filled in with what is there, or with what was typed and refused.
#[derive(Clone, Debug, Default)]
pub struct Filled {
    pub form: Form,
    /// Where it is entered.
    pub action: String,
    pub typed: Typed,
    pub faults: Faults,
}

/// One fault for the summary on top.
pub struct FormFault {
    /// The id of the field.
    pub id: String,
    pub label: String,
    pub what: String,
}

impl Filled {
    /// What a field holds.
    pub fn value<'f>(&'f self, field: &'f Field) -> &'f str {
        match &field.fixed {
            Some(fixed) => fixed,
            None => self.typed.one(&field.name).unwrap_or_default(),
        }
    }

    pub fn is_ticked(&self, field: &Field) -> bool {
        self.value(field) == "yes"
    }

    /// Whether one of several is ticked.
    pub fn has(&self, field: &Field, value: &str) -> bool {
        let name = format!("{}[]", field.name);
        self.typed.list(&name).any(|one| one == value)
    }

    pub fn id(&self, field: &Field) -> String {
        format!("{}{}", self.form.prefix, field.name)
    }

    pub fn fault(&self, field: &Field) -> Option<String> {
        self.faults.said_of(&field.name, self.form.language)
    }

    /// Where the form goes that asks what it would change.
    pub fn preview(&self) -> String {
        format!("{}/preview", self.action)
    }

    pub fn goes_to(&self) -> String {
        match self.looks_first() {
            true => self.preview(),
            false => self.action.clone(),
        }
    }

    /// Whether the form cannot be entered without a look.
    pub fn looks_first(&self) -> bool {
        let buttons = &self.form.buttons;
        !buttons.is_empty() && buttons.iter().all(|button| button.looks)
    }

    /// The attributes that tie a field to its hint and its fault.
    pub fn describes(&self, field: &Field) -> String {
        let id = self.id(field);
        let fault = self.fault(field).is_some();
        let mut ids = Vec::new();
        if !field.hint.is_empty() {
            ids.push(format!("{id}-hint"));
        }
        if fault {
            ids.push(format!("{id}-fault"));
        }
        ids.join(" ")
    }

    /// Everything that is wrong, in the order of the fields; what is wrong with none of them comes last.
    pub fn summary(&self) -> Vec<FormFault> {
        let place = |name: &str| {
            let mut fields = self.form.fields();
            fields
                .position(|field| field.name == name)
                .unwrap_or(usize::MAX)
        };
        let mut faults: Vec<(&str, &Message)> = self.faults.iter().collect();
        faults.sort_by_key(|fault| place(fault.0));
        let one = |(name, what): (&str, &Message)| FormFault {
            id: match self.form.field(name).is_some() {
                true => format!("{}{name}", self.form.prefix),
                false => String::new(),
            },
            label: self.form.label(name),
            what: self.form.language.say(what),
        };
        faults.into_iter().map(one).collect()
    }
}

impl Field {
    /// What the templates tell kinds apart by.
    pub fn shape(&self) -> &'static str {
        match self.kind {
            Kind::Text | Kind::Code => "text",
            Kind::Decimal | Kind::Answer(_) => "decimal",
            Kind::Files { .. } => "file",
            Kind::Whole(_) => "numeric",
            Kind::Day => "date",
            Kind::LocalTime => "datetime-local",
            Kind::Choice(_) => "choice",
            Kind::Pick(_) => "pick",
            Kind::Several(_) => "several",
            Kind::Lines(_) => "lines",
            Kind::Prose(_) => "prose",
            Kind::Tick => "tick",
            Kind::Password => "password",
            Kind::Hidden => "hidden",
        }
    }

    /// Whether it takes the whole width.
    pub fn is_whole(&self) -> bool {
        let by_kind = matches!(
            self.kind,
            Kind::Pick(_)
                | Kind::Several(_)
                | Kind::Lines(_)
                | Kind::Prose(_)
                | Kind::Tick
                | Kind::Files { .. }
        );
        self.wide || by_kind
    }

    pub fn options(&self) -> &[(String, String)] {
        match &self.kind {
            Kind::Choice(choices) | Kind::Pick(choices) => &choices.options,
            Kind::Several(options) => options,
            _ => &[],
        }
    }

    /// What choosing nothing says.
    pub fn nothing(&self) -> Option<&'static str> {
        match &self.kind {
            Kind::Choice(choices) => choices.nothing,
            _ => None,
        }
    }

    pub fn height(&self) -> u8 {
        match self.kind {
            Kind::Lines(height) | Kind::Prose(height) => height,
            _ => 1,
        }
    }

    /// What files the browser is to offer.
    pub fn accept(&self) -> &'static str {
        match self.kind {
            Kind::Files { accept, .. } => accept,
            _ => "",
        }
    }

    pub fn takes_several(&self) -> bool {
        matches!(self.kind, Kind::Files { several: true, .. })
    }
}
