//! Images of several servers: each takes up what the others write as soon as it hears of it, so that nobody who asks for a
//! page waits for it.

use std::sync::Arc;

use super::{Desk, look};
use crate::store::postgres::Written;

/// Takes up what others write for as long as the desk is there.
pub(super) fn start(desk: &Desk, mut written: Written) {
    let store = desk.store.clone();
    let (shared, writer) = (Arc::downgrade(&desk.shared), Arc::downgrade(&desk.writer));
    tokio::spawn(async move {
        while written.next().await {
            let (Some(shared), Some(writer)) = (shared.upgrade(), writer.upgrade()) else {
                return;
            };
            if let Err(why) = look(&store, &shared, &writer).await {
                // the next page asks for it, and says what is the matter
                tracing::debug!(error = %why, "what was written is taken up later");
            }
        }
    });
}
