//! Who may ask: a one-time token, printed with the address, is exchanged once for a session.
//!
//! The token stands in the address's fragment, which a browser never sends. The session is named in a header, which no other
//! page can set; sound and pictures, which a page cannot ask for with a header, are asked for with a key of their own that
//! reads and never writes. There is no cookie, so nothing rides along with a foreign page's request.

use std::collections::HashSet;

use crate::review::seal::digest;

/// What a page gets for its token.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Granted {
    /// Named in the header `x-tugback-session`.
    pub session: String,
    /// Named in the address of sound, pictures and exports.
    pub key: String,
}

/// Tokens that wait and sessions that run. Only checksums are kept, and looked up, so that how long a comparison takes tells
/// nothing.
#[derive(Debug, Default)]
pub struct Sessions {
    tokens: HashSet<String>,
    running: HashSet<String>,
    keys: HashSet<String>,
}

/// No random numbers can be had.
#[derive(Debug, thiserror::Error)]
#[error("this system gives no random numbers, without which the page cannot be protected")]
pub struct NoRandom;

/// 256 bits.
fn random() -> Result<String, NoRandom> {
    let mut bytes = [0; 32];
    getrandom::fill(&mut bytes).map_err(|_| NoRandom)?;
    Ok(crate::hex(&bytes))
}

impl Sessions {
    /// A new token for one exchange.
    pub fn invite(&mut self) -> Result<String, NoRandom> {
        let token = random()?;
        self.tokens.insert(digest(&[&token]));
        Ok(token)
    }

    /// Exchanges a token; a second time it is worth nothing.
    pub fn exchange(&mut self, token: &str) -> Option<Granted> {
        if !self.tokens.remove(&digest(&[token])) {
            return None;
        }
        let granted = Granted { session: random().ok()?, key: random().ok()? };
        self.running.insert(digest(&[&granted.session]));
        self.keys.insert(digest(&[&granted.key]));
        Some(granted)
    }

    pub fn knows_session(&self, session: &str) -> bool {
        self.running.contains(&digest(&[session]))
    }

    pub fn knows_key(&self, key: &str) -> bool {
        self.keys.contains(&digest(&[key]))
    }
}
