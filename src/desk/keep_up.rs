//! Images of several servers: each takes up what the others write as soon as it hears of it, so that nobody who asks for a
//! page waits for it.

use std::sync::Arc;

use tokio::sync::Mutex;
use tokio::task::AbortHandle;

use super::look;
use super::writer::{Shared, Writer};
use crate::store::Store;
use crate::store::postgres::Written;

/// A desk that takes up what others write, for as long as this is there.
pub(super) struct KeptUp(AbortHandle);

impl Drop for KeptUp {
    fn drop(&mut self) {
        self.0.abort();
    }
}

/// Takes up what others write.
pub(super) fn start(
    (store, shared, writer): (&Store, &Arc<Shared>, &Arc<Mutex<Writer>>),
    mut written: Written,
) -> KeptUp {
    let store = store.clone();
    let (shared, writer) = (Arc::downgrade(shared), Arc::downgrade(writer));
    let task = tokio::spawn(async move {
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
    KeptUp(task.abort_handle())
}
