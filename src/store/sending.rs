//! Where something stands that goes to another server: a mail, a grade.

use super::StoreError;
use super::sql::Row;
use crate::words::named;

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum SendState {
    Waiting,
    /// The other server took it.
    Sent,
    /// The other server will not have it, or was away for too long.
    Refused,
    /// It is not to be sent any more.
    Dropped,
}

named! { SendState, name, from_name:
    Waiting = "waiting": "waiting",
    Sent = "sent": "sent",
    Refused = "refused": "refused",
    Dropped = "dropped": "not sent",
}

/// The `state` of a row of an outbox.
pub(super) fn state_of(row: &Row) -> Result<SendState, StoreError> {
    let state: String = row.try_get("state")?;
    SendState::from_name(&state).ok_or_else(|| StoreError::damaged("state of an outbox", state))
}
