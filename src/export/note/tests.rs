//! Notes and letters: escaped for their format, from the built-in template or one's own.

use serde_json::json;

use super::*;
use crate::export::table::tests::log_of;

fn evil() -> Log {
    let said = "<script>alert(1)</script> [x](javascript:1) *b* \u{202e}19\r\n- Diagnosis: none";
    let mut log =
        log_of(vec![json!({ "id": "e1", "from_s": 1, "to_s": 2, "kind": "advice", "status": "done",
        "values": { "text": said }, "said": said, "rule": "r", "review": "unseen" })]);
    log.case.reference = Some("<b>7</b>".to_owned());
    log
}

fn own(name: &str, text: &str, format: Format) -> Result<String, String> {
    let template = Some(Template { name: name.to_owned(), text: text.to_owned() });
    note(&evil(), &Options { format, template, ..Options::default() }).map_err(|e| e.to_string())
}

#[test]
fn what_was_said_is_no_markup() {
    for paper in [Paper::Note, Paper::Letter] {
        let text =
            write(&evil(), paper, &Options { format: Format::Markdown, ..Options::default() }).unwrap();
        assert!(!text.contains(['<', '\u{202e}']), "{text}");
        assert!(text.contains("\\[x\\](java") && !text.contains(" *b*"), "{text}");
    }
    let text = note(&evil(), &Options::default()).unwrap();
    assert!(
        text.contains("Advice: <script>alert(1)</script> [x](javascript:1) *b*  19  - Diagnosis: none\n"),
        "{text}"
    );
    assert!(
        !text.lines().any(|l| l.contains("Diagnosis") && !l.contains("script")),
        "a spoken line break makes no line"
    );
    let remark = "{{ teeth[0].after[0].items[0].text }}";
    let html = own("n.html", &format!("<p title='{{{{ file }}}}'>{remark}</p>"), Format::Html).unwrap();
    assert_eq!(
        html,
        "<p title='&lt;b&gt;x&lt;/b&gt;.wav'>&lt;script&gt;alert(1)&lt;/script&gt; [x](javascript:1) *b*  19  - Diagnosis: none</p>"
    );
}

#[test]
fn what_was_said_is_no_template() {
    let mut log = evil();
    log.source.file = "{{ caution }}{% for x in y %}".to_owned();
    assert!(note(&log, &Options::default()).unwrap().contains("From: {{ caution }}{% for x in y %},"));
}

#[test]
fn a_bad_template_names_its_line() {
    let check = |text: &str, expect: &str| {
        assert_eq!(own("mine.txt", text, Format::Text), Err(expect.to_owned()), "{text}");
    };
    check(
        "one\ntwo\n{{ cautoin }}",
        "the template `mine.txt`, line 3: it uses a name that is not there (see the list in DEVELOPERS.md)",
    );
    check("one\n{% if %}", "the template `mine.txt`, line 2: syntax error: unexpected end of block");
    check(
        "{% for t in teeth %}\n{{ t }}\n{% endfor %}",
        "the template `mine.txt`, line 2: invalid operation: a list or an object cannot be written as it is; go through it with `for`",
    );
    let out = own("mine.txt", "{% include \"/etc/passwd\" %}", Format::Text).unwrap_err();
    assert!(out.starts_with("the template `mine.txt`, line 1: template not found"), "{out}");
    let endless =
        own("mine.txt", "{% macro m() %}{{ m() }}{% endmacro %}\n{{ m() }}", Format::Text).unwrap_err();
    assert!(endless.contains("mine.txt"), "{endless}");
}

#[test]
fn a_template_of_ones_own() {
    let text = "{% for t in teeth %}{{ t.name }}: {{ t.after | length }}{% endfor %}; {{ date or \"no date\" }}; {{ file }}";
    assert_eq!(
        own("n.md", text, Format::Markdown).unwrap(),
        "Tooth not named: 1; no date; &lt;b&gt;x&lt;/b&gt;.wav"
    );
    let html = Options { format: Format::Html, ..Options::default() };
    assert!(letter(&evil(), &html).is_err(), "no built-in letter as HTML");
}

#[test]
fn the_printed_note_has_the_picture() {
    let log = crate::checks::tests::lines::log(
        "36 MB working-length length_mm=20\n36 MB instrumentation instrument=rotary size=25 taper=0.06 short_mm=0\n",
    )
    .unwrap();
    let html = note(&log, &Options { format: Format::Html, ..Options::default() }).unwrap();
    assert!(html.contains("<svg viewBox=") && html.contains("shaped 25/.06"), "{html}");
    assert!(html.contains(crate::export::CAUTION), "{html}");
    // A picture is no text: other formats have none.
    for format in [Format::Text, Format::Markdown] {
        let text = note(&log, &Options { format, ..Options::default() }).unwrap();
        assert!(!text.contains("svg"), "{text}");
        assert_eq!(own("n.md", "[{{ picture }}]", format).unwrap(), "[]");
    }
}

#[test]
fn a_signed_log_is_no_draft() {
    let mut log = evil();
    crate::export::tests::sign(&mut log, "A. <Name>");
    for paper in [Paper::Note, Paper::Letter] {
        let text = write(&log, paper, &Options::default()).unwrap();
        assert!(text.contains("A. <Name>, dentist") && !text.to_lowercase().contains("draft"), "{text}");
        assert!(text.contains("Not verified: 1 of 1 entries"), "{text}");
        let draft = write(&evil(), paper, &Options::default()).unwrap();
        assert!(draft.contains(crate::export::CAUTION), "{draft}");
    }
}
