//! What was typed, as text.

/// Fields by name, in order. A name may come once, unless it ends in `[]`.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Typed(Vec<(String, String)>);

impl Typed {
    pub fn new(pairs: Vec<(String, String)>) -> Self {
        Self(pairs)
    }

    /// The field of that name.
    pub fn one(&self, name: &str) -> Option<&str> {
        let mut pairs = self.pairs();
        pairs.find(|(n, _)| *n == name).map(|(_, value)| value)
    }

    /// The field of that name without blanks around it, empty if there is none.
    pub fn text(&self, name: &str) -> &str {
        self.one(name).unwrap_or_default().trim()
    }

    /// Names and values of the fields whose name begins so.
    pub fn all(&self, prefix: &str) -> impl Iterator<Item = (&str, &str)> {
        self.pairs()
            .filter(move |(name, _)| name.starts_with(prefix))
    }

    /// Values of a name that may come again and again; it ends in `[]`.
    pub fn list(&self, name: &str) -> impl Iterator<Item = &str> {
        let values = self.pairs().filter(move |(n, _)| *n == name);
        values.map(|(_, value)| value)
    }

    pub fn pairs(&self) -> impl Iterator<Item = (&str, &str)> {
        self.0
            .iter()
            .map(|(name, value)| (name.as_str(), value.as_str()))
    }

    pub fn into_pairs(self) -> Vec<(String, String)> {
        self.0
    }

    /// Puts a value in the place of what the field held.
    pub fn set(&mut self, name: &str, value: impl Into<String>) {
        self.0.retain(|(n, _)| n != name);
        self.0.push((name.to_owned(), value.into()));
    }

    /// The same without the fields that `keep` does not want.
    pub fn only(&self, keep: impl Fn(&str) -> bool) -> Self {
        let kept = self.0.iter().filter(|(name, _)| keep(name));
        Self(kept.cloned().collect())
    }
}

impl<N: Into<String>, V: Into<String>> FromIterator<(N, V)> for Typed {
    fn from_iter<I: IntoIterator<Item = (N, V)>>(pairs: I) -> Self {
        let owned = |(name, value): (N, V)| (name.into(), value.into());
        Self(pairs.into_iter().map(owned).collect())
    }
}

impl<N: Into<String>, V: Into<String>, const K: usize> From<[(N, V); K]> for Typed {
    fn from(pairs: [(N, V); K]) -> Self {
        pairs.into_iter().collect()
    }
}
