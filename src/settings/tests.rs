//! Settings files as people write them: what counts, where it came from, and one sentence for each mistake.

use std::path::Path;

use super::{Notation, Settings, SettingsError, Strictness};

fn rules() -> Vec<String> {
    ["completeness", "order", "order.drying", "order.size-jump"].map(str::to_owned).to_vec()
}

fn parse(text: &str) -> Result<Settings, SettingsError> {
    Settings::parse(text, Path::new("tugback.toml"), &rules())
}

const WHOLE: &str = r#"
notation = "universal"
model = "models/mine.bin"
strictness = "strict"

[checks]
off = ["order.drying", "completeness"]
cartridge_ml = 2.2
working_length_mm = [11, 30.5]
[checks.concentration_pct]
sodium-hypochlorite = [0.5, 6]
[checks.anaesthetic_pct]
articaine = [4, 2]

[record]
volume = 0.2

[[instrument]]
name = "slim-shaper"
said = ["slim shaper", "the slim one"]
like = "rotary"
sizes = [20, 25]
tapers = [0.04]
colours = ["yellow", "red"]

[[phrase]]
said = ["the usual rinse"]
kind = "irrigation"
values = { agent = "sodium-hypochlorite", concentration_pct = 3, volume_ml = 5 }

[[phrase]]
said = ["slim to length"]
kind = "instrumentation"
values = { instrument = "slim-shaper", short_mm = 0 }
"#;

#[test]
fn a_whole_file() {
    let settings = parse(WHOLE).unwrap();
    assert_eq!((settings.notation, settings.strictness), (Notation::Universal, Strictness::Strict));
    assert_eq!(settings.model.as_deref(), Some(Path::new("models/mine.bin")));
    assert_eq!(settings.checks.cartridge_ml.to_string(), "2.2");
    assert_eq!(settings.checks.working_length_mm.map(|mm| mm.to_string()), ["11", "30.5"]);
    assert!(settings.checks.is_off("order.drying") && settings.checks.is_off("completeness.wl_value"));
    let own = &settings.instruments()[0];
    assert_eq!((own.name.as_str(), own.like.as_deref()), ("slim-shaper", Some("rotary")));
    assert_eq!(own.tapers[0].to_string(), "0.04");
    let phrase = &settings.phrases()[0];
    assert_eq!((phrase.said.len(), phrase.kind.as_str()), (1, "irrigation"));
    assert_eq!(phrase.values["volume_ml"].number().map(|n| n.to_string()).as_deref(), Some("5"));
    let line = |key: &str| settings.origin(key).map(|o| o.line);
    assert_eq!(line("notation"), Some(2));
    assert_eq!(line("checks.cartridge_ml"), Some(8));
    assert_eq!(line("instrument.slim-shaper"), Some(18));
    assert_eq!((settings.record.volume.to_string().as_str(), line("record.volume")), ("0.2", Some(16)));
    assert_eq!(line("checks.gap_s"), None, "a default");
}

#[test]
fn nothing_said_is_the_default() {
    assert_eq!(parse("").unwrap(), Settings::default());
    assert_eq!(parse("\u{feff}# a remark\n").unwrap(), Settings::default());
}

/// What `tugback settings` prints is a settings file that means the same.
#[test]
fn what_is_shown_can_be_read_again() {
    for text in ["", WHOLE] {
        let settings = parse(text).unwrap();
        let shown = settings.text();
        let again = parse(&shown).unwrap_or_else(|e| panic!("{e}\n{shown}"));
        let values = |s: &Settings| toml::Table::try_from(s).unwrap();
        assert_eq!(values(&again), values(&settings), "{shown}");
    }
    let shown = parse(WHOLE).unwrap().text();
    let has = |line: &str| shown.lines().any(|l| l.split_whitespace().collect::<Vec<_>>().join(" ") == line);
    assert!(has("notation = \"universal\" # tugback.toml, line 2"), "{shown}");
    assert!(has("cartridge_ml = 2.2 # tugback.toml, line 8"), "{shown}");
    assert!(has("gap_s = 300 # default"), "{shown}");
    assert!(has("[[phrase]] # tugback.toml, line 26"), "{shown}");
    assert!(shown.lines().all(|l| l.chars().count() <= 110), "{shown}");
    let checks = toml::Table::try_from(&parse("").unwrap().checks).unwrap();
    for key in checks.keys() {
        let about = super::Windows::about(key).unwrap_or_default();
        assert!(about.len() > 20 && about.ends_with(['.', ')']), "{key}: {about}");
    }
}

/// Each mistake: the text, the line, the start of the sentence.
#[test]
fn a_mistake_names_its_line_and_the_cure() {
    let own = |rest: &str| format!("[[instrument]]\nname = \"slim\"\nsaid = [\"slim one\"]\n{rest}\n");
    let phrase = |rest: &str| format!("[[phrase]]\nsaid = [\"usual rinse\"]\n{rest}\n");
    let cases = [
        ("notatoin = \"iso3950\"\n".to_owned(), 1, "there is no key `notatoin`; did you mean `notation`?"),
        (
            "[record]\nvolume = 2\n".to_owned(),
            2,
            "2 is no volume; a number from 0 (no tones) to 1 is expected",
        ),
        ("\n[chekcs]\n".to_owned(), 2, "there is no key `chekcs`; did you mean `checks`?"),
        (
            "[checks]\n\ncartridge = 2\n".to_owned(),
            3,
            "there is no key `cartridge`; did you mean `cartridge_ml`?",
        ),
        (
            "notation = \"fdi\"\n".to_owned(),
            1,
            "there is no choice `fdi`; there are `iso3950`, `universal`, `palmer`",
        ),
        ("strictness = \"strickt\"\n".to_owned(), 1, "there is no choice `strickt`; did you mean `strict`?"),
        ("notation = 3\n".to_owned(), 1, "a text in quotes is expected"),
        ("[checks]\ngap_s = \"300\"\n".to_owned(), 2, "found the text \"300\"; a number is expected"),
        ("[checks]\ngap_s = nan\n".to_owned(), 2, "NaN is out of range"),
        ("[checks]\ngap_s = -1\n".to_owned(), 2, "-1 is below 0"),
        ("[checks]\nspeed_rpm = [900, 300]\n".to_owned(), 2, "the window begins at 900 and ends at 300"),
        ("[checks]\nspeed_rpm = 300\n".to_owned(), 2, "found the number `300`; a list of two numbers"),
        ("[checks]\nspeed_rpm = [300]\n".to_owned(), 2, "a list of 1; two numbers are expected"),
        ("[checks]\nask_for_lots = 1\n".to_owned(), 2, "found the number `1`; true or false is expected"),
        (
            "[checks]\noff = [\n\"order\",\n\"ordre.drying\"]\n".to_owned(),
            2,
            "there is no rule `ordre.drying`; did you mean `order.drying`?",
        ),
        (
            "[checks]\n[checks.concentration_pct]\nbleach = [1, 2]\n".to_owned(),
            3,
            "there is no solution `bleach`",
        ),
        ("[checks.tooth_length_mm]\n\"99\" = [1, 2]\n".to_owned(), 2, "there is no tooth `99` in ISO 3950"),
        ("notation = \"iso3950\"\nnotation = \"palmer\"\n".to_owned(), 2, "this key is there twice"),
        ("notation = iso3950\n".to_owned(), 1, "this is no TOML: "),
        ("[checks\n".to_owned(), 1, "this is no TOML: "),
        (own("colour = [\"red\"]"), 4, "there is no key `colour`; did you mean `colours`?"),
        (own("colours = [\"rad\"]"), 4, "there is no colour `rad`; did you mean `red`?"),
        (own("colours = [\"red\"]\nsizes = [20, 25]"), 4, "1 colours for 2 sizes; name one for each size"),
        (own("sizes = [0.25]"), 4, "0.25 is no size; sizes are hundredths of a millimetre"),
        (own("tapers = [0.0625]"), 4, "0.0625 has more than three decimal places"),
        ("[checks]\ngap_s = 0.0004\n".to_owned(), 2, "0.0004 has more than three"),
        (own("tapers = [6]"), 4, "6 is no taper; tapers are ratios"),
        (own("like = \"rotery\""), 4, "there is no instrument `rotery`; did you mean `rotary`?"),
        (
            "[[instrument]]\nname = \"Slim One\"\nsaid = [\"slim\"]\n".to_owned(),
            2,
            "`Slim One` cannot stand in a log",
        ),
        (
            "[[instrument]]\nname = \"rotary\"\nsaid = [\"slim\"]\n".to_owned(),
            2,
            "`rotary` is an instrument that the program knows",
        ),
        ("[[instrument]]\nname = \"slim\"\n".to_owned(), 1, "the key `said` is missing; add it"),
        ("[[instrument]]\nname = \"slim\"\nsaid = []\n".to_owned(), 3, "nobody can say this"),
        ("[[instrument]]\nname = \"slim\"\nsaid = [\"25\"]\n".to_owned(), 3, "\"25\" is a number alone"),
        (
            "[[instrument]]\nname = \"slim\"\nsaid = [\"a|b\"]\n".to_owned(),
            3,
            "\"a|b\" holds a sign that nobody says",
        ),
        ("[checks]\noff = [\"a\\nb\"]\n".to_owned(), 2, "there is no rule `a b`"),
        (own("") + &own(""), 6, "two instruments are named `slim`"),
        (
            own("") + "[[phrase]]\nsaid = [\"Slim-One\"]\nkind = \"access\"\n",
            6,
            "\"Slim-One\" is said of two things",
        ),
        (
            phrase("kind = \"irigation\""),
            3,
            "there is no kind of entry `irigation`; did you mean `irrigation`?",
        ),
        (
            phrase("kind = \"irrigation\"\nvalues = { volume = 3 }"),
            4,
            "there is no field `volume`; did you mean `volume_ml`? (kind `irrigation`)",
        ),
        (
            phrase("kind = \"irrigation\"\nvalues = { volume_ml = \"3 ml\" }"),
            4,
            "found the text \"3 ml\"; `volume_ml` is a number",
        ),
        (
            phrase("kind = \"irrigation\"\n[phrase.values]\nagent = \"bleach\""),
            5,
            "there is no agent named `bleach`",
        ),
        (phrase("kind = \"irrigation\"\n[phrase.values]\nconcentration_pct = 525"), 5, "525 lies outside of"),
        (
            phrase("kind = \"instrumentation\"\nvalues = { instrument = 3 }"),
            4,
            "found the number 3; `instrument` is a text",
        ),
    ];
    let mut complaints = Vec::new();
    for (text, line, what) in cases {
        match parse(&text) {
            Err(SettingsError::Wrong { line: at, what: said, .. })
                if at == line && said.starts_with(what) => {}
            other => complaints
                .push(format!("{text}line {line}: {what}, got {:?}", other.map_err(|e| e.to_string()))),
        }
    }
    assert!(complaints.is_empty(), "{}", complaints.join("\n\n"));
}

proptest::proptest! {
    #![proptest_config(proptest::prelude::ProptestConfig { failure_persistence: None, ..proptest::prelude::ProptestConfig::with_cases(512) })]

    /// Whatever stands in a file: settings, or a sentence about a line that is there.
    #[test]
    fn any_text_is_settings_or_a_sentence(cut in 0..WHOLE.len(), put in "[ -~\n]{0,6}", gone in 0..12_usize) {
        let rest = WHOLE.get(cut + gone..).unwrap_or_default();
        let text = format!("{}{put}{rest}", &WHOLE[..cut]);
        match parse(&text) {
            Ok(settings) => proptest::prop_assert!(parse(&settings.text()).is_ok(), "{}", settings.text()),
            Err(SettingsError::Wrong { line, what, .. }) => {
                proptest::prop_assert!(line >= 1 && line <= text.lines().count().max(1) + 1, "{line}: {text}");
                proptest::prop_assert!(what.len() > 8 && !what.contains('\n'), "{what}");
            }
            Err(other) => proptest::prop_assert!(false, "{other}"),
        }
    }
}

#[test]
fn the_nearer_file_counts() {
    let folder = tempfile::tempdir().unwrap();
    let write = |name: &str, text: &str| {
        let path = folder.path().join(name);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(&path, text).unwrap();
        path
    };
    let far = write("own/tugback.toml", WHOLE);
    let near = write(
        "here/tugback.toml",
        "notation = \"palmer\"\n[checks]\ngap_s = 60\n[[instrument]]\nname = \"slim-shaper\"\nsaid = [\"slimmer\"]\n",
    );
    let nowhere = folder.path().join("nowhere/tugback.toml");
    let settings = Settings::find(&[far.clone(), nowhere, near.clone()], &rules()).unwrap();
    assert_eq!((settings.notation, settings.strictness), (Notation::Palmer, Strictness::Strict));
    assert_eq!(settings.checks.gap_s.to_string(), "60");
    assert_eq!(settings.checks.cartridge_ml.to_string(), "2.2");
    assert_eq!(settings.instruments().len(), 1);
    assert_eq!(settings.instruments()[0].said, ["slimmer"]);
    assert_eq!(settings.phrases().len(), 2);
    assert_eq!(settings.origin("notation").map(|o| &o.file), Some(&near));
    assert_eq!(settings.origin("strictness").map(|o| &o.file), Some(&far));
    assert_eq!(settings.model, Some(far.parent().unwrap().join("models/mine.bin")));
}

#[test]
fn files_that_cannot_be_read() {
    let folder = tempfile::tempdir().unwrap();
    assert!(matches!(Settings::read(folder.path(), &[]), Err(SettingsError::Read { .. })));
    let path = folder.path().join("tugback.toml");
    std::fs::write(&path, b"notation = \"\xff\"").unwrap();
    assert!(matches!(Settings::read(&path, &[]), Err(SettingsError::NotText { at: 13, .. })));
}
