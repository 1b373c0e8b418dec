//! Why a decision could not be carried out. Nothing was changed then.

/// What is in the way, and what to do.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ReviewError {
    #[error("there is no entry {0}; the log may have been changed elsewhere")]
    NoEntry(String),
    #[error("there is no such stretch of speech; the log may have been changed elsewhere")]
    NoStretch,
    #[error("`{0}` is no field that can be changed here")]
    NoField(String),
    #[error("{0}")]
    Wrong(String),
    #[error("that is decided already; nothing was changed")]
    Nothing,
    #[error("there is nothing to take back")]
    NothingToUndo,
    #[error("there is nothing that was taken back")]
    NothingToRedo,
    #[error("the log is signed: what comes before the signature stays; change it with a reason instead")]
    Signed,
    #[error("the log is signed; a change needs a reason, which is kept beside it")]
    NeedsReason,
    #[error("say who you are: a change is kept with a name")]
    NeedsName,
    #[error("{0} still need eyes; look at them, or sign with the rest marked as not verified")]
    Unseen(usize),
    #[error("the history does not fit the log: {0}")]
    History(String),
}
