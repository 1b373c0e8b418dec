//! Listens to a dentist during root canal treatment and writes the procedure log that a person reviews and signs.
//!
//! The rooms, in the order that speech travels: [`listen`] → [`words`] → [`log`].

pub mod audio;
pub mod checks;
pub mod commands;
pub mod listen;
pub mod log;
pub mod tables;
pub mod words;
