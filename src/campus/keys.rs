//! The public keys of somebody who signs messages, asked for when they are needed and kept for a while.

use std::sync::{Arc, Mutex, PoisonError};

use ureq::Agent;

use super::CampusFault;
use super::provider::{KEPT, SOONEST, agent, is_loopback, read_keys, unreachable};
use super::token::{Claims, Expected, Key, TokenFault, claims};

/// Keys at an address.
pub struct KeyRing {
    address: String,
    agent: Agent,
    /// When they were asked for.
    kept: Mutex<Option<(i64, Arc<Vec<Key>>)>>,
}

impl KeyRing {
    pub fn new(address: &str) -> Self {
        Self {
            address: address.to_owned(),
            agent: agent(is_loopback(address)),
            kept: Mutex::default(),
        }
    }

    /// What a token says, if it is signed by one of the keys and is what is expected. A key that is not known is asked for
    /// again, once a minute at most.
    pub async fn claims(
        self: &Arc<Self>,
        token: &str,
        expected: Expected<'_>,
    ) -> Result<Claims, CampusFault> {
        let keys = self.keys(expected.now, KEPT).await?;
        let read = match claims(token, &keys, expected) {
            Err(TokenFault::UnknownKey) => {
                let keys = self.keys(expected.now, SOONEST).await?;
                claims(token, &keys, expected)
            }
            read => read,
        };
        Ok(read?)
    }

    async fn keys(self: &Arc<Self>, now: i64, oldest: i64) -> Result<Arc<Vec<Key>>, CampusFault> {
        let kept = {
            let kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
            kept.clone()
        };
        if let Some((at, keys)) = kept
            && now.saturating_sub(at) < oldest
        {
            return Ok(keys);
        }
        let ring = Arc::clone(self);
        // the client waits for the network, so it has a thread of its own
        let read = tokio::task::spawn_blocking(move || read_keys(&ring.agent, &ring.address));
        let keys = Arc::new(read.await.map_err(unreachable)??);
        let mut kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        *kept = Some((now, Arc::clone(&keys)));
        Ok(keys)
    }
}
