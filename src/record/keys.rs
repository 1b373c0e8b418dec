//! Bytes of a terminal → names of keys, as they stand in the settings: `Space`, `s`, `Ctrl+d`, `F5`, `PageDown`. The
//! sequences are those of xterm ("XTerm Control Sequences", PC-style function keys), which pedals and pointers send too.

use super::session::Key;
use crate::settings::Keys;

/// What a key asks for.
pub fn meant(name: &str, keys: &Keys) -> Option<Key> {
    keys.all().into_iter().find(|(_, names)| names.iter().any(|n| n == name)).map(|(what, _)| match what {
        "pause" => Key::Pause,
        "strike" => Key::Strike,
        "flag" => Key::Flag,
        _ => Key::End,
    })
}

/// What an order from another program asks for: the names of the settings, and `go-on`.
pub fn ordered(line: &str) -> Option<Key> {
    Some(match line.trim() {
        "pause" => Key::Pause,
        "go-on" => Key::GoOn,
        "strike" => Key::Strike,
        "flag" => Key::Flag,
        "end" => Key::End,
        _ => return None,
    })
}

/// The names of the keys in what was read at once; a sequence comes in one piece.
pub fn names(bytes: &[u8]) -> Vec<String> {
    let text = String::from_utf8_lossy(bytes);
    let mut rest = text.as_ref();
    let mut found = Vec::new();
    while let Some(first) = rest.chars().next() {
        let (name, len) = match sequence(rest) {
            Some((name, len)) => (name, len),
            None => (one(first), first.len_utf8()),
        };
        found.extend(name);
        rest = rest.get(len..).unwrap_or_default();
    }
    found
}

fn one(c: char) -> Option<String> {
    Some(match c {
        ' ' => "Space".to_owned(),
        '\r' | '\n' => "Enter".to_owned(),
        '\t' => "Tab".to_owned(),
        '\u{7f}' | '\u{8}' => "Backspace".to_owned(),
        '\u{1b}' => "Escape".to_owned(),
        '\u{1}'..='\u{1a}' => {
            // Ctrl and a letter is that letter's place in the alphabet.
            let letter = char::from_u32(u32::from(c) + u32::from('a') - 1)?;
            format!("Ctrl+{letter}")
        }
        c if c.is_control() => return None,
        c => c.to_lowercase().collect(),
    })
}

/// A sequence at the start of a text: its name, if it has one, and its length.
fn sequence(text: &str) -> Option<(Option<String>, usize)> {
    let after = text.strip_prefix("\u{1b}[").or_else(|| text.strip_prefix("\u{1b}O"))?;
    let end = after.find(|c: char| ('@'..='~').contains(&c))?;
    let (inside, last) = (after.get(..end)?, after.get(end..=end)?);
    let number = inside.split(';').next().unwrap_or_default();
    let name = match (last, number) {
        ("A", _) => "ArrowUp",
        ("B", _) => "ArrowDown",
        ("C", _) => "ArrowRight",
        ("D", _) => "ArrowLeft",
        ("H", _) | ("~", "1" | "7") => "Home",
        ("F", _) | ("~", "4" | "8") => "End",
        ("P", _) | ("~", "11") => "F1",
        ("Q", _) | ("~", "12") => "F2",
        ("R", _) | ("~", "13") => "F3",
        ("S", _) | ("~", "14") => "F4",
        ("~", "2") => "Insert",
        ("~", "5") => "PageUp",
        ("~", "6") => "PageDown",
        ("~", "15") => "F5",
        ("~", "17") => "F6",
        ("~", "18") => "F7",
        ("~", "19") => "F8",
        ("~", "20") => "F9",
        ("~", "21") => "F10",
        ("~", "23") => "F11",
        ("~", "24") => "F12",
        ("~", "25") => "F13",
        ("~", "26") => "F14",
        ("~", "28") => "F15",
        ("~", "29") => "F16",
        ("~", "31") => "F17",
        ("~", "32") => "F18",
        ("~", "33") => "F19",
        ("~", "34") => "F20",
        _ => "",
    };
    let len = text.len() - after.len() + end + 1;
    Some(((!name.is_empty()).then(|| name.to_owned()), len))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(bytes: &str, expect: &[&str]) {
        assert_eq!(names(bytes.as_bytes()), expect, "bytes: {bytes:?}");
    }

    #[test]
    fn names_of_keys() {
        check(" ", &["Space"]);
        check("sF", &["s", "f"]);
        check("\u{4}", &["Ctrl+d"]);
        check("\u{1b}[6~\u{1b}OP", &["PageDown", "F1"]);
        check("\u{1b}[25~", &["F13"]);
        check("\u{1b}[1;5C", &["ArrowRight"]);
        check("\u{1b}", &["Escape"]);
        check("\u{1b}[99~s", &["s"]);
        check("\u{1b}[", &["Escape", "["]);
        check("ä\r", &["ä", "Enter"]);
        check("", &[]);
    }

    #[test]
    fn keys_of_the_settings() {
        let mut keys = Keys::default();
        assert_eq!(meant("Space", &keys), Some(Key::Pause));
        assert_eq!(meant("x", &keys), None);
        keys.flag = vec!["F13".to_owned(), "b".to_owned()];
        assert_eq!((meant("F13", &keys), meant("f", &keys)), (Some(Key::Flag), None));
        assert_eq!((ordered("go-on\n"), ordered("x")), (Some(Key::GoOn), None));
    }
}
