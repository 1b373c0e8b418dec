//! Keys without Enter, of a terminal or a pedal; or orders from another program, one a line; or a signal, where there is
//! neither.

use std::{
    io::{BufRead as _, IsTerminal as _, Read as _},
    sync::mpsc::Sender,
    thread,
};

use crate::{
    record::{keys, session::Key},
    settings::Keys,
};

/// Gives the terminal back as it was when it is dropped.
pub(super) struct Terminal {
    #[cfg(unix)]
    before: Option<rustix::termios::Termios>,
}

impl Drop for Terminal {
    fn drop(&mut self) {
        #[cfg(unix)]
        if let Some(before) = &self.before {
            use rustix::termios::{OptionalActions, tcsetattr};
            let _ = tcsetattr(std::io::stdin(), OptionalActions::Now, before);
        }
    }
}

/// Keys of the terminal, if this is one. A terminal that goes ends no recording.
pub(super) fn keys_of_terminal(pressed: Sender<Key>, keys: Keys) -> Terminal {
    #[cfg(unix)]
    {
        use rustix::termios::{LocalModes, OptionalActions, tcgetattr, tcsetattr};
        let input = std::io::stdin();
        if !input.is_terminal() {
            return Terminal { before: None };
        }
        let before = tcgetattr(&input).ok();
        if let Some(mut raw) = before.clone() {
            raw.local_modes.remove(LocalModes::ICANON | LocalModes::ECHO);
            let _ = tcsetattr(&input, OptionalActions::Now, &raw);
        }
        read_keys(pressed, keys);
        Terminal { before }
    }
    #[cfg(not(unix))]
    {
        // Keys count after Enter.
        read_keys(pressed, keys);
        Terminal {}
    }
}

fn read_keys(pressed: Sender<Key>, keys: Keys) {
    thread::spawn(move || {
        let mut bytes = [0; 64];
        while let Ok(n @ 1..) = std::io::stdin().lock().read(&mut bytes) {
            for name in keys::names(bytes.get(..n).unwrap_or_default()) {
                if let Some(key) = keys::meant(&name, &keys)
                    && pressed.send(key).is_err()
                {
                    return;
                }
            }
        }
    });
}

/// Orders of the program that started this one; when it goes, the recording is ended in good order.
pub(super) fn orders_of_program(pressed: Sender<Key>) {
    thread::spawn(move || {
        for line in std::io::stdin().lock().lines().map_while(Result::ok) {
            if let Some(key) = keys::ordered(&line) {
                let _ = pressed.send(key);
            }
        }
        let _ = pressed.send(Key::End);
    });
}

/// The signal USR1 pauses and goes on: where nobody has a terminal, a pause that was asked for by voice must have an end.
#[cfg(unix)]
pub(super) fn signals(pressed: Sender<Key>) -> std::io::Result<()> {
    use tokio::signal::unix::{SignalKind, signal};
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    let mut asked = {
        let _inside = runtime.enter();
        signal(SignalKind::user_defined1())?
    };
    thread::spawn(
        move || {
            while runtime.block_on(asked.recv()).is_some() && pressed.send(Key::Pause).is_ok() {}
        },
    );
    Ok(())
}
