//! What the pages of mail and of grades show alike of what goes out.

use crate::store::SendState;

/// How many stand so.
pub struct Count {
    pub state: &'static str,
    pub words: &'static str,
    pub n: u64,
    /// Whether the page shows those alone.
    pub shown: bool,
}

/// One for each state, whether or not there are any.
pub fn counts(n: impl Fn(SendState) -> u64, shown: Option<SendState>) -> Vec<Count> {
    let count = |state: SendState| Count {
        state: state.name(),
        words: state.words(),
        n: n(state),
        shown: shown == Some(state),
    };
    SendState::ALL.map(count).into()
}

/// How a state looks.
pub fn tag(state: SendState) -> &'static str {
    match state {
        SendState::Waiting => "tag tag-open",
        SendState::Sent => "tag tag-ok",
        SendState::Refused => "tag tag-late",
        SendState::Dropped => "tag",
    }
}
