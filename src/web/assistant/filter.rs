//! What of the list an assistant asked for. It goes along from page to page, so that deciding leads on in the list.

use crate::judge::FlagCode;
use crate::term::Status;
use crate::web::Fields;

/// A part of all submissions.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Filter {
    /// Key of an experiment; empty for all.
    pub experiment: String,
    /// A section; empty for all.
    pub section: String,
    /// Only with this flag.
    pub flag: Option<FlagCode>,
    pub standing: Standing,
}

/// Where submissions stand, as the list is asked for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Standing {
    /// A person should look at them.
    #[default]
    ToReview,
    Returned,
    Settled,
    /// All of them, those without any flag included.
    All,
}

impl Standing {
    /// Every choice, as a form offers them.
    pub const ALL: [Self; 4] = [Self::ToReview, Self::Returned, Self::Settled, Self::All];

    /// As it is in addresses.
    pub fn name(self) -> &'static str {
        match self {
            Self::ToReview => "to-review",
            Self::Returned => "returned",
            Self::Settled => "settled",
            Self::All => "all",
        }
    }

    /// As people read it.
    pub fn words(self) -> &'static str {
        match self {
            Self::ToReview => "to review",
            Self::Returned => "returned to the student",
            Self::Settled => "settled",
            Self::All => "everything handed in",
        }
    }

    /// Whether a submission is among them.
    pub fn holds(self, status: Status) -> bool {
        match self {
            Self::ToReview => status == Status::ToReview,
            Self::Returned => status == Status::Returned,
            Self::Settled => status == Status::Settled,
            Self::All => true,
        }
    }
}

impl Filter {
    /// As asked for; what cannot be understood asks for nothing in particular, and the form shows it so.
    pub fn of(fields: &Fields) -> Self {
        let flag = fields.text("flag");
        let standing = fields.text("status");
        Self {
            experiment: fields.text("experiment").to_owned(),
            section: fields.text("section").to_owned(),
            flag: FlagCode::ALL.into_iter().find(|code| code.code() == flag),
            standing: Standing::ALL
                .into_iter()
                .find(|one| one.name() == standing)
                .unwrap_or_default(),
        }
    }

    /// From the hidden field in which a form carries it.
    pub fn carried(fields: &Fields) -> Self {
        let encoded = fields.text("filter").as_bytes();
        Fields::parse(encoded).map_or_else(|_| Self::default(), |fields| Self::of(&fields))
    }

    /// As the query of an address, without what asks for nothing in particular.
    pub fn query(&self) -> String {
        self.query_with(&[])
    }

    /// The same with more fields behind.
    pub fn query_with(&self, more: &[(&str, &str)]) -> String {
        let standing = match self.standing {
            Standing::ToReview => "",
            other => other.name(),
        };
        let own = [
            ("experiment", self.experiment.as_str()),
            ("section", &self.section),
            ("flag", self.flag.map_or("", FlagCode::code)),
            ("status", standing),
        ];
        let said = own
            .iter()
            .chain(more)
            .filter(|(_, value)| !value.is_empty());
        form_urlencoded::Serializer::new(String::new())
            .extend_pairs(said)
            .finish()
    }

    /// What waits within the same experiment, section and flag.
    pub fn waiting(&self) -> Self {
        Self {
            standing: Standing::ToReview,
            ..self.clone()
        }
    }

    /// Whether it leaves anything out but by where submissions stand.
    pub fn narrows(&self) -> bool {
        !self.experiment.is_empty() || !self.section.is_empty() || self.flag.is_some()
    }
}

/// An address with a query, if there is one.
pub fn with_query(path: &str, query: &str) -> String {
    if query.is_empty() {
        path.to_owned()
    } else {
        format!("{path}?{query}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_filter_survives_the_address() {
        let filter = Filter {
            experiment: "hardness".into(),
            section: "Mon PM".into(),
            flag: Some(FlagCode::ScatterHigh),
            standing: Standing::Settled,
        };
        let query = filter.query();
        assert_eq!(
            query,
            "experiment=hardness&section=Mon+PM&flag=scatter-high&status=settled"
        );
        let back = Fields::parse(query.as_bytes()).expect("is sound");
        assert_eq!(Filter::of(&back), filter);
        let hidden = Fields::new(vec![("filter".into(), query)]).expect("is sound");
        assert_eq!(Filter::carried(&hidden), filter);
        assert_eq!(Filter::default().query(), "");
    }

    #[test]
    fn what_is_not_understood_asks_for_nothing_in_particular() {
        let fields = Fields::parse(b"flag=nonsense&status=odd").expect("is sound");
        assert_eq!(Filter::of(&fields), Filter::default());
    }
}
