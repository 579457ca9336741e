//! What stands between the cells of a table.

/// What stands between cells.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Separator {
    Comma,
    Semicolon,
    Tab,
}

impl Separator {
    pub(super) const ALL: [Self; 3] = [Self::Comma, Self::Semicolon, Self::Tab];

    pub fn words(self) -> &'static str {
        match self {
            Self::Comma => "commas",
            Self::Semicolon => "semicolons",
            Self::Tab => "tabs",
        }
    }

    /// The separator that a text is.
    pub(super) fn of(text: &str) -> Option<Self> {
        let mut all = Self::ALL.into_iter();
        all.find(|one| text.as_bytes() == [one.byte()])
    }

    pub(super) fn byte(self) -> u8 {
        match self {
            Self::Comma => b',',
            Self::Semicolon => b';',
            Self::Tab => b'\t',
        }
    }
}
