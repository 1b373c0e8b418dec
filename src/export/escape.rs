//! What was said, made harmless for each format. Comes in: any text. Goes out: text that the format shows as it is.

/// One line without control characters, and without marks that turn the direction of writing (which could make a reader
/// see digits in another order). The words stay.
pub fn plain(text: &str) -> String {
    let blank = |c: char| {
        c.is_control()
            || matches!(c, '\u{2028}' | '\u{2029}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
            || matches!(c, '\u{200e}' | '\u{200f}' | '\u{61c}' | '\u{feff}' | '\u{fffe}' | '\u{ffff}')
    };
    text.chars().map(|c| if blank(c) { ' ' } else { c }).collect()
}

/// For HTML, inside elements and quoted attributes.
pub fn html(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in plain(text).chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c => out.push(c),
        }
    }
    out
}

/// For Markdown (CommonMark 0.31.2, sections 2.4 and 2.5): no emphasis, link, image, code, table or HTML, and no list,
/// heading or rule where the text begins a line.
pub fn markdown(text: &str) -> String {
    let text = plain(text);
    let mut out = String::with_capacity(text.len());
    let digits = text.chars().take_while(char::is_ascii_digit).count();
    for (at, c) in text.chars().enumerate() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '\\' | '`' | '*' | '_' | '[' | ']' | '|' | '~' | '#' | '!' | '$' => out.extend(['\\', c]),
            '+' | '-' | '=' if at == 0 => out.extend(['\\', c]),
            '.' | ')' if at == digits && digits > 0 && text.chars().nth(at + 1).is_none_or(|n| n == ' ') => {
                out.extend(['\\', c]);
            }
            c => out.push(c),
        }
    }
    out
}

/// For the payload of a WebVTT cue (W3C, WebVTT: The Web Video Text Tracks Format, section 4.2.2): one line, no tags, no
/// arrow.
pub fn captions(text: &str) -> String {
    let text = plain(text).replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;");
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn markup_is_shown_as_it_is() {
        let evil = "<img src=x onerror='1'> R&D \"size <20\"";
        assert_eq!(html(evil), "&lt;img src=x onerror=&#39;1&#39;&gt; R&amp;D &quot;size &lt;20&quot;");
        assert_eq!(
            markdown("[a](javascript:b) *c* `d` | ![e]"),
            "\\[a\\](javascript:b) \\*c\\* \\`d\\` \\| \\!\\[e\\]"
        );
        assert_eq!(markdown("<b>"), "&lt;b&gt;");
        assert_eq!(captions("A --> B\n\n<i>c & d"), "A --&gt; B &lt;i&gt;c &amp; d");
    }

    #[test]
    fn a_line_that_looks_like_a_list_is_none() {
        assert_eq!(markdown("1. one"), "1\\. one");
        assert_eq!(markdown("- one"), "\\- one");
        assert_eq!(markdown("# one"), "\\# one");
        assert_eq!(markdown("1.8 mL, 2-3 times"), "1.8 mL, 2-3 times");
    }

    #[test]
    fn nothing_turns_the_digits_around() {
        assert_eq!(plain("\u{202e}19\u{1b}[31m\r\n\t5"), " 19 [31m   5");
    }
}
