//! A loaded model, and the states that hear with it. They are kept here while nothing is heard, so that all can be let go
//! when the model is loaded again.
//!
//! Most of what a state takes is room for the longest sound and text (28 MB for a model of the size "base"), and for the
//! products of the attention, which grow with the square of the sound. So a model is first loaded with a shorter reach
//! ([`shorter`](super::shorter)), which is enough for a breath of 13 s; the first that needs more has it loaded again.

use std::{
    collections::HashMap,
    fs::File,
    io::{self, BufReader},
    sync::{Mutex, MutexGuard, PoisonError, RwLock},
    thread::{self, ThreadId},
};

use whisper_rs::{WhisperContext, WhisperContextParameters, WhisperError, WhisperState};

use super::{
    super::{Error, model::ModelInfo},
    WHOLE, failed,
    shorter::{self, Reach},
};

/// Reaches before the whole one: windows of 15.4 s, which is enough for most, 20.5 s and 25.6 s, and the tokens that are
/// heard in them at most. whisper.cpp makes room in steps of 256 of both.
const REACHES: [Reach; 3] = [reach(768), reach(1024), reach(1280)];

const fn reach(frames: u32) -> Reach {
    Reach { frames, tokens: 256 }
}

/// While a model is shortened there are two of it in memory: that must be less than what its states save.
const MOST_BYTES_SHORTENED: u64 = 100_000_000;

/// A loaded model; many listeners share it.
pub(super) struct Weights {
    pub info: ModelInfo,
    /// None where it could not be loaded again.
    loaded: RwLock<Option<Loaded>>,
}

struct Loaded {
    context: WhisperContext,
    /// The longest window that a state of it can hear.
    most: usize,
    /// States with which nobody hears just now, by the thread that heard with them: what a long breath took from the system
    /// a state keeps, and not every thread hears long ones.
    idle: Mutex<HashMap<ThreadId, WhisperState>>,
}

impl Weights {
    /// Loads a model: whole, or for now as far as it is likely to be needed.
    pub(super) fn load(info: ModelInfo, whole: bool) -> Result<Self, Error> {
        give_back();
        let loaded = if whole { Loaded::whole(&info)? } else { Loaded::to_reach(1, &info)? };
        Ok(Self { info, loaded: RwLock::new(Some(loaded)) })
    }

    /// Lends a state that can hear such a window.
    pub(super) fn hear<T>(
        &self,
        window: usize,
        hear: impl FnOnce(&WhisperContext, &mut WhisperState) -> Result<T, WhisperError>,
    ) -> Result<T, Error> {
        loop {
            let loaded = self.loaded.read().unwrap_or_else(PoisonError::into_inner);
            if let Some(loaded) = loaded.as_ref().filter(|l| l.most >= window) {
                let thread = thread::current().id();
                let idle = loaded.idle().remove(&thread);
                let mut state = match idle {
                    Some(state) => state,
                    None => loaded.context.create_state().map_err(|e| cannot_load(&self.info, &e))?,
                };
                let heard = hear(&loaded.context, &mut state);
                loaded.idle().insert(thread, state);
                return heard.map_err(failed);
            }
            drop(loaded);
            self.load_again(window)?;
        }
    }

    /// The longest window that can be heard without loading it again.
    #[cfg(test)]
    pub(super) fn reach(&self) -> usize {
        self.loaded.read().unwrap().as_ref().map_or(0, |l| l.most)
    }

    /// Loads the model so that it reaches farther, when nobody hears with it any more.
    fn load_again(&self, window: usize) -> Result<(), Error> {
        let mut loaded = self.loaded.write().unwrap_or_else(PoisonError::into_inner);
        if loaded.as_ref().is_none_or(|l| l.most < window) {
            tracing::debug!(window, "a long breath: the model is loaded again");
            // First the old one goes, with its states.
            *loaded = None;
            *loaded = Some(Loaded::to_reach(window, &self.info)?);
        }
        Ok(())
    }
}

impl Loaded {
    fn whole(info: &ModelInfo) -> Result<Self, Error> {
        let context = WhisperContext::new_with_params(&info.path, parameters());
        let context = context.map_err(|e| cannot_load(info, &e))?;
        Ok(Self { context, most: WHOLE, idle: Mutex::default() })
    }

    /// With the shortest reach that is enough for such a window.
    fn to_reach(window: usize, info: &ModelInfo) -> Result<Self, Error> {
        let reach = REACHES.into_iter().find(|reach| window <= reach.frames as usize);
        let Some(reach) = reach.filter(|_| info.bytes <= MOST_BYTES_SHORTENED) else {
            return Self::whole(info);
        };
        let model = shortened(info, reach).map_err(|e| cannot_load(info, &e))?;
        let Some(model) = model else { return Self::whole(info) };
        let context = WhisperContext::new_from_buffer_with_params(&model, parameters());
        let context = context.map_err(|e| cannot_load(info, &e))?;
        Ok(Self { context, most: reach.frames as usize, idle: Mutex::default() })
    }

    fn idle(&self) -> MutexGuard<'_, HashMap<ThreadId, WhisperState>> {
        self.idle.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// From now on, large blocks that are freed go back to the system at once. By itself glibc keeps all that are no larger than
/// the largest that was freed so far, up to 32 MB each. What is needed anew for every breath is smaller.
#[cfg(all(target_os = "linux", target_env = "gnu"))]
#[expect(unsafe_code, reason = "a function of glibc")]
fn give_back() {
    // SAFETY: it changes one number and may be called from any thread (mallopt(3)).
    unsafe { libc::mallopt(libc::M_MMAP_THRESHOLD, 4 << 20) };
}

#[cfg(not(all(target_os = "linux", target_env = "gnu")))]
fn give_back() {}

fn parameters<'p>() -> WhisperContextParameters<'p> {
    let mut parameters = WhisperContextParameters::default();
    parameters.use_gpu(false).flash_attn(false);
    parameters
}

fn shortened(info: &ModelInfo, reach: Reach) -> io::Result<Option<Vec<u8>>> {
    shorter::read(&mut BufReader::new(File::open(&info.path)?), reach)
}

fn cannot_load(info: &ModelInfo, e: &dyn std::error::Error) -> Error {
    Error::Load { path: info.path.clone(), reason: e.to_string() }
}
