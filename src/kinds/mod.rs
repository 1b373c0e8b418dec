//! The kinds of entry: one TOML file each, embedded whole. A file holds the fields with how they are said, the rules that
//! open an entry, examples, and silent cases that must give none. No list to extend: a new file is a new kind.

mod file;
pub mod pattern;

use std::sync::{Arc, LazyLock};

use include_dir::{Dir, include_dir};
use indexmap::IndexMap;

pub use file::KindError;
use pattern::Pattern;

use crate::{
    log::{Status, Value},
    words::{Decimal, slot::Slot},
};

static FILES: Dir<'_> = include_dir!("$CARGO_MANIFEST_DIR/src/kinds");

/// The program's own kinds.
///
/// # Panics
/// Where an embedded file is damaged; a test reads them all.
#[expect(clippy::expect_used, reason = "embedded files are tested")]
pub static BUILT_IN: LazyLock<Arc<Kinds>> =
    LazyLock::new(|| Arc::new(Kinds::built_in().expect("the embedded kinds are well formed")));

/// All kinds, in the order of their names.
#[derive(Debug, Clone, Default)]
pub struct Kinds {
    pub all: Vec<Kind>,
}

impl Kinds {
    fn built_in() -> Result<Self, KindError> {
        let mut files: Vec<_> =
            FILES.files().filter(|f| f.path().extension().is_some_and(|e| e == "toml")).collect();
        files.sort_by_key(|f| f.path().to_owned());
        let all = files
            .into_iter()
            .map(|f| file::read(&f.path().display().to_string(), f.contents_utf8().unwrap_or_default()))
            .collect::<Result<_, _>>()?;
        Ok(Self { all })
    }

    pub fn get(&self, name: &str) -> Option<&Kind> {
        self.all.iter().find(|k| k.name == name)
    }

    pub fn index(&self, name: &str) -> Option<usize> {
        self.all.iter().position(|k| k.name == name)
    }
}

/// The texts of all kind files, for the rule set's checksum.
pub fn texts() -> impl Iterator<Item = &'static [u8]> {
    FILES.files().map(include_dir::File::contents)
}

/// A kind of entry.
#[derive(Debug, Clone)]
pub struct Kind {
    pub name: String,
    pub about: String,
    pub place: Place,
    /// The fields of which each one said makes an entry of its own: a list of sizes is several entries.
    pub each: Vec<String>,
    /// Likewise, where such a field is said more than once and none of `each` is.
    pub else_each: Vec<String>,
    /// A field that was said, one that was not, and the doubt that this puts on the one not said.
    pub lacks: Vec<(String, String, String)>,
    /// Several in one list need a canal each; otherwise they are one value, said more than once.
    pub each_in_its_canal: bool,
    /// A bare number or attribute in a later breath may continue or complete this kind.
    pub goes_on: bool,
    /// Its own words speak of a day to come ("next visit"): they make no plan of it.
    pub foretells: bool,
    /// Vocabularies whose words are natural here though no field holds them: they are no sign of another kind.
    pub uses: Vec<String>,
    /// Statuses that this kind cannot have: the words then give no entry (no mishap is a rule of the craft).
    pub never: Vec<Status>,
    /// Classes of cues that rule the kind out: "the old filling is out" restores nothing.
    pub not_with: Vec<String>,
    /// With these alone it completes the step of its kind that was just told ("thirty gauge needle, two short").
    pub attributes: Vec<String>,
    /// With one of these told, a "not" tells how far it went ("would not go past seventeen").
    pub attempted: Vec<String>,
    /// Right behind words of these classes its name means something else ("allergic to articaine").
    pub not_behind: Vec<String>,
    /// Words of these classes anywhere before it in its sentence mean that no such step is told.
    pub not_after: Vec<String>,
    /// Beside words of these classes it is told with a doubt.
    pub wary: Vec<String>,
    /// Vocabularies whose words in the same sentence rule the kind out: "buccal infiltration, and no palatal" finds no canal.
    pub not_among: Vec<String>,
    /// What is told is a fact, whatever it denies ("he is no diabetic").
    pub facts: bool,
    /// Fields of which an entry holds one: "six weeks, no, months"; a second one makes a second entry.
    pub either: Vec<String>,
    /// "the perforation": with its article it is the one that was told before, and no second one.
    pub recalled: bool,
    /// Fields whose words, before a comma that stands before the step's own words, are another step's: "EDTA for a minute,
    /// activated".
    pub own_clause: Vec<String>,
    /// Words with a number that are natural here and that no field holds ("binds half a millimetre short").
    pub explains: Vec<Pattern>,
    /// The field that takes the rest of its clause where nothing known was said ("palpation a bit iffy over the apex").
    pub rest: Option<String>,
    /// A tooth named with it, once one is at work, may be a neighbour's: it says where this was done, not what follows.
    pub beside: bool,
    pub fields: IndexMap<String, Field>,
    pub rules: Vec<Rule>,
    pub examples: Vec<Example>,
    pub silent: Vec<Silent>,
}

/// What a kind belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Place {
    /// A canal; a canal named earlier in the same tooth carries.
    Canal,
    /// A tooth; canal names in its words are no canal of the entry.
    Tooth,
    /// Names canals, but takes none from earlier ones.
    NamesCanals,
    /// Names the tooth that the following entries belong to.
    NamesTeeth,
}

/// One field of a kind.
#[derive(Debug, Clone)]
pub struct Field {
    pub is: Is,
    pub about: String,
    pub hear: Vec<Heard>,
    /// Outside of these the value is kept, with a doubt.
    pub plausible: Option<(Decimal, Decimal)>,
    /// Narrower ones by what another field holds: the table with them, and that field.
    pub windows: Option<(String, String)>,
    /// Holds only where another field is one of these: a length belongs to a fragment, not to a perforation.
    pub only_with: Option<(String, Vec<String>)>,
    /// Words that rule a value out when they follow it, where another stands: "thirty goes past, forty binds".
    pub but_not: Vec<Pattern>,
    /// Behind "will", "to be" or a "not" in its clause it is not meant.
    pub as_done: bool,
    pub source: Option<String>,
    /// Several words of this field are joined: "unwound" + "discarded".
    pub joins: bool,
    /// Said once behind a list, it is said of all of it, though it is a number ("…, all at 400 rpm").
    pub of_list: bool,
    /// Two values that said together are a third.
    pub together: Vec<(String, String, String)>,
}

/// What a field holds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Is {
    /// A number of a slot.
    Number(Slot),
    /// A word of a vocabulary.
    Term(String),
    /// Words as they were said.
    Text,
}

/// One way of saying a field.
#[derive(Debug, Clone)]
pub struct Heard {
    pub pattern: Pattern,
    /// A fixed value ("to length" is 0), or the field's own slot.
    pub gives: Option<Value>,
    /// Copies the value from the last entry of this kind ("same reference").
    pub same: bool,
    pub doubt: Option<String>,
}

/// What opens an entry.
#[derive(Debug, Clone, Default)]
pub struct Rule {
    /// Written into logs: never renamed, never reused.
    pub id: String,
    pub hear: Vec<Pattern>,
    /// How sure the words are a sign of this kind: 1 weak (a size may be anything), 3 strong (its own verb).
    pub weight: f32,
    pub status: Option<Status>,
    /// Values that the words themselves mean.
    pub sets: IndexMap<String, Value>,
    /// Takes words as text into a field.
    pub takes: Option<Takes>,
    /// Fields without which it opens nothing.
    pub needs: Vec<String>,
    /// Field and reason.
    pub doubt: Option<(String, String)>,
    /// Only as the whole sentence or breath.
    pub whole: bool,
    /// Only at the start of a sentence.
    pub starts: bool,
    /// Only while no tooth was named.
    pub opening: bool,
    /// Only of a tooth that was named before ("21, previously treated").
    pub known: bool,
    /// Its words turn to the tooth that they name ("coming to the 22").
    pub turns_to: bool,
    /// Takes sentences about earlier visits, whole.
    pub past: bool,
    /// Its words say which tooth comes next ("over to the seven").
    pub next: bool,
    /// Never of what was done: to look for something is not to find it.
    pub seeks: bool,
    /// Completes an earlier entry where it fits, and opens one of its own only otherwise.
    pub yields: bool,
    /// Its words settle what was said a little before ("so I keep twenty one and a half").
    pub amends: bool,
    /// With words of this class in its text it is told by that rule of another kind: what was explained and accepted.
    pub turns: Option<(String, String)>,
}

/// A rule that takes words as text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Takes {
    pub field: String,
    pub to: TakesTo,
    /// The rule's own words belong to the text.
    pub with_rule: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TakesTo {
    /// To the end of the sentence.
    Sentence,
    /// To the end of the breath.
    Breath,
    /// To the next comma or rule.
    Next,
    /// The whole sentence, also what stands before the rule's words.
    WholeSentence,
}

/// A case of the kind's own test.
#[derive(Debug, Clone)]
pub struct Example {
    pub said: String,
    pub gives: IndexMap<String, Value>,
    pub status: Status,
    pub doubts: Vec<String>,
}

/// Words that must give no entry of any kind.
#[derive(Debug, Clone)]
pub struct Silent {
    pub said: String,
    pub why: String,
}
