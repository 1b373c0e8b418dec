//! Model files: where they are, and whether a file is what it should be, before anything is recorded or heard.
//! Comes in: paths. Goes out: what the file is, or one clear sentence. Never loads a model, never writes.

use std::{
    env, fmt,
    fs::{self, File},
    io::{self, BufReader, Read, Seek, SeekFrom},
    path::{Path, PathBuf},
};

use sha2::{Digest, Sha256};

/// Name, purpose and SHA-256 of the files that come with the program (the same table as `models/SHA256SUMS`).
const KNOWN: &str = include_str!("../../models/SHA256SUMS");

/// The recogniser that is used when nobody names another one.
pub const DEFAULT_RECOGNISER: &str = "ggml-base-treatment-q8_0.bin";
/// The second listener: stock weights, so it fails in other ways than the tuned ones.
pub const DEFAULT_SECOND: &str = "ggml-tiny.en-q5_1.bin";
/// The voice detector.
pub const DEFAULT_VAD: &str = "ggml-silero-vad-6.2.bin";

/// First four bytes of a ggml file: 0x67676d6c, little-endian (`GGML_FILE_MAGIC` in ggml.h).
const GGML_MAGIC: [u8; 4] = *b"lmgg";

/// What a file is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// A Whisper recogniser in ggml layout.
    Recogniser,
    /// A voice detector in ggml layout.
    VoiceDetector,
}

impl fmt::Display for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Recogniser => "recogniser",
            Self::VoiceDetector => "voice detector",
        })
    }
}

/// A checked model file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ModelInfo {
    pub path: PathBuf,
    pub kind: Kind,
    pub bytes: u64,
    /// SHA-256 in lower-case hexadecimal.
    pub sha256: String,
    /// The checksum is one of those that come with the program.
    pub known: bool,
    /// Knows English only (a recogniser's `.en` weights); others must be told the language.
    pub english_only: bool,
    /// Layers of the encoder: 4 tiny, 6 base, 12 small, 24 medium, 32 large.
    pub layers: u32,
    /// Writes what was said word for word and takes an encoder window that is only as long as the audio.
    pub tuned: bool,
}

impl ModelInfo {
    /// File name without folder and without `ggml-` and `.bin`, as it is shown in logs.
    pub fn name(&self) -> String {
        let stem = self.path.file_stem().map(|s| s.to_string_lossy().into_owned()).unwrap_or_default();
        stem.strip_prefix("ggml-").unwrap_or(&stem).to_owned()
    }
}

/// Why a file cannot be used as a model.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ModelError {
    #[error("there is no model file `{path}`; check the path, or run `tugback models` to see what is found")]
    Missing { path: PathBuf },
    #[error("`{path}` is a folder; name the model file in it (for example `{path}/ggml-….bin`)")]
    Folder { path: PathBuf },
    #[error("cannot read the model file `{path}`; check its permissions")]
    Unreadable { path: PathBuf, source: io::Error },
    #[error("`{path}` is {what}, not a model; put the real file there ({WANTED})")]
    NotAModel { path: PathBuf, what: String },
    #[error("`{path}` is a GGUF file; a Whisper model in the older ggml layout is needed ({WANTED})")]
    Gguf { path: PathBuf },
    #[error("`{path}` is cut: it ends after {bytes} bytes, inside {inside}; copy it again, whole")]
    Cut { path: PathBuf, bytes: u64, inside: String },
    #[error("`{path}` is a {found}, but a {wanted} is needed here")]
    WrongKind { path: PathBuf, found: Kind, wanted: Kind },
    #[error(
        "`{path}` is damaged: its name is known, but its checksum is {found} instead of {wanted}; copy it again"
    )]
    Damaged { path: PathBuf, found: String, wanted: String },
    #[error("`{path}` is a ggml file of an unknown sort; a Whisper model is needed ({WANTED})")]
    UnknownSort { path: PathBuf },
    #[error(
        "no speech model found; looked for {looked_for} in {}; name one with --model FILE or put it into one of these folders",
        list(looked_in)
    )]
    NoneFound { looked_for: String, looked_in: Vec<PathBuf> },
}

const WANTED: &str = "its name usually is ggml-….bin, 30 MB to 3 GB";

fn list(paths: &[PathBuf]) -> String {
    paths.iter().map(|p| format!("`{}`", p.display())).collect::<Vec<_>>().join(", ")
}

/// Checks that `path` is a whole, undamaged model of the kind that is wanted.
pub fn check(path: &Path, wanted: Kind) -> Result<ModelInfo, ModelError> {
    let info = inspect(path)?;
    if info.kind == wanted {
        Ok(info)
    } else {
        Err(ModelError::WrongKind { path: path.to_owned(), found: info.kind, wanted })
    }
}

/// Says what kind of model `path` is, after checking magic, size and (where known) checksum.
pub fn inspect(path: &Path) -> Result<ModelInfo, ModelError> {
    let unreadable = |source| ModelError::Unreadable { path: path.to_owned(), source };
    let meta = fs::metadata(path).map_err(|source| match source.kind() {
        io::ErrorKind::NotFound | io::ErrorKind::NotADirectory => {
            ModelError::Missing { path: path.to_owned() }
        }
        _ => unreadable(source),
    })?;
    if meta.is_dir() {
        return Err(ModelError::Folder { path: path.to_owned() });
    }
    let bytes = meta.len();
    let mut reader = BufReader::new(File::open(path).map_err(unreadable)?);
    let mut head = Vec::new();
    reader.by_ref().take(512).read_to_end(&mut head).map_err(unreadable)?;
    if head.get(..4) != Some(&GGML_MAGIC) {
        return Err(not_ggml(path, &head, bytes));
    }
    reader.seek(SeekFrom::Start(4)).map_err(unreadable)?;
    let layout = layout(&mut reader, bytes).map_err(|trouble| match trouble {
        Trouble::Io(source) => unreadable(source),
        Trouble::Cut(inside) => ModelError::Cut { path: path.to_owned(), bytes, inside },
        Trouble::Unknown => ModelError::UnknownSort { path: path.to_owned() },
    })?;
    reader.rewind().map_err(unreadable)?;
    let sha256 = digest(&mut reader).map_err(unreadable)?;
    let name = path.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
    if let Some((wanted, _)) = known().find(|(_, n)| *n == name)
        && wanted != sha256
    {
        return Err(ModelError::Damaged { path: path.to_owned(), found: sha256, wanted: wanted.to_owned() });
    }
    let known_as = known().find(|(sum, _)| *sum == sha256).map(|(_, n)| n);
    let tuned = known_as.unwrap_or(&name).contains("treatment");
    Ok(ModelInfo {
        path: path.to_owned(),
        kind: layout.kind,
        bytes,
        sha256,
        known: known_as.is_some(),
        english_only: layout.english_only,
        layers: layout.layers,
        tuned,
    })
}

/// (SHA-256, file name) of the files that come with the program.
fn known() -> impl Iterator<Item = (&'static str, &'static str)> {
    KNOWN.lines().filter_map(|line| line.split_once("  ")).map(|(sum, name)| (sum, name.trim()))
}

fn digest(reader: &mut impl Read) -> io::Result<String> {
    let mut hasher = Sha256::new();
    let mut block = vec![0; 1 << 20];
    loop {
        let n = reader.read(&mut block)?;
        match block.get(..n) {
            Some(part) if n > 0 => hasher.update(part),
            _ => break,
        }
    }
    Ok(crate::hex(&hasher.finalize()))
}

/// Says what a file that is no ggml file looks like.
fn not_ggml(path: &Path, head: &[u8], bytes: u64) -> ModelError {
    let path = path.to_owned();
    let what = match head {
        [] => "empty".to_owned(),
        [b'G', b'G', b'U', b'F', ..] => return ModelError::Gguf { path },
        [b'P', b'K', ..] => "a zip archive or a PyTorch checkpoint".to_owned(),
        [0x1f, 0x8b, ..] => "a gzip archive".to_owned(),
        _ if head.starts_with(b"version https://git-lfs") => {
            "a Git LFS pointer (the file itself was not fetched)".to_owned()
        }
        _ if head.trim_ascii_start().starts_with(b"<") => "a web page".to_owned(),
        _ if std::str::from_utf8(head).is_ok() || head.is_ascii() => format!("a text of {bytes} bytes"),
        [a, b, c, d, ..] => {
            format!("a file of an unknown format (it begins with {a:02x} {b:02x} {c:02x} {d:02x})")
        }
        _ => format!("a file of {bytes} bytes"),
    };
    ModelError::NotAModel { path, what }
}

struct Layout {
    kind: Kind,
    english_only: bool,
    layers: u32,
}

enum Trouble {
    Io(io::Error),
    Cut(String),
    Unknown,
}

/// Reads numbers and skips over the rest, so that a cut file is noticed without loading it.
struct Walk<'a, R> {
    reader: &'a mut R,
    at: u64,
    bytes: u64,
    inside: String,
}

impl<R: Read + Seek> Walk<'_, R> {
    fn number(&mut self) -> Result<i32, Trouble> {
        let mut raw = [0; 4];
        match self.reader.read_exact(&mut raw) {
            Ok(()) => {
                self.at += 4;
                Ok(i32::from_le_bytes(raw))
            }
            Err(e) if e.kind() == io::ErrorKind::UnexpectedEof => Err(Trouble::Cut(self.inside.clone())),
            Err(e) => Err(Trouble::Io(e)),
        }
    }

    /// A count or length that a sound file keeps between 0 and `most`.
    fn count(&mut self, most: i32) -> Result<u64, Trouble> {
        let n = self.number()?;
        if (0..=most).contains(&n) { Ok(u64::from(n.unsigned_abs())) } else { Err(Trouble::Unknown) }
    }

    fn skip(&mut self, n: u64) -> Result<(), Trouble> {
        self.at += n;
        if self.at > self.bytes {
            return Err(Trouble::Cut(self.inside.clone()));
        }
        self.reader.seek_relative_to(self.at).map_err(Trouble::Io)
    }
}

trait SeekTo {
    fn seek_relative_to(&mut self, at: u64) -> io::Result<()>;
}

impl<R: Seek> SeekTo for R {
    fn seek_relative_to(&mut self, at: u64) -> io::Result<()> {
        self.seek(SeekFrom::Start(at)).map(|_| ())
    }
}

/// Walks through the file behind the magic. Layout: `whisper_model_load` and `whisper_vad_init_with_params`
/// of whisper.cpp 1.8 (S).
fn layout<R: Read + Seek>(reader: &mut R, bytes: u64) -> Result<Layout, Trouble> {
    let mut walk = Walk { reader, at: 4, bytes, inside: "its header".into() };
    let first = walk.number()?;
    if (1..=64).contains(&first) {
        // A voice detector: length of its type's name, the name ("silero-16k"), its version.
        walk.skip(u64::from(first.unsigned_abs()))?;
        if bytes < 800_000 {
            return Err(Trouble::Cut("its weights".into()));
        }
        return Ok(Layout { kind: Kind::VoiceDetector, english_only: false, layers: 0 });
    }
    if !(51_864..=51_866).contains(&first) {
        return Err(Trouble::Unknown);
    }
    // n_audio_ctx, n_audio_state, n_audio_head, n_audio_layer, n_text_ctx, n_text_state, n_text_head, n_text_layer,
    // n_mels, ftype
    let mut sizes = [0; 10];
    for size in &mut sizes {
        *size = walk.number()?;
    }
    let [_, _, _, audio_layers, _, _, _, text_layers, _, _] = sizes;
    let (audio, text) = (u32::try_from(audio_layers).unwrap_or(0), u32::try_from(text_layers).unwrap_or(0));
    if !(1..=64).contains(&audio) || !(1..=64).contains(&text) {
        return Err(Trouble::Unknown);
    }
    walk.inside = "its mel filters".into();
    let (rows, columns) = (walk.count(1024)?, walk.count(1024)?);
    walk.skip(rows * columns * 4)?;
    walk.inside = "its vocabulary".into();
    for _ in 0..walk.count(60_000)? {
        let length = walk.count(4096)?;
        walk.skip(length)?;
    }
    // Encoder: 5 tensors and 15 a layer before the last 2; decoder: 2, 24 a layer, 2 (whisper_model_load).
    let wanted = 7 + 15 * audio + 4 + 24 * text;
    let mut found = 0;
    while walk.at < bytes && found < wanted {
        walk.inside = format!("part {} of {wanted}", found + 1);
        let dims = walk.count(4)?;
        let name = walk.count(256)?;
        let kind = walk.number()?;
        let mut elements = 1_u64;
        for _ in 0..dims {
            elements = elements.saturating_mul(walk.count(i32::MAX)?);
        }
        walk.skip(name)?;
        let (block, block_bytes) = block_of(kind).ok_or(Trouble::Unknown)?;
        walk.skip(elements / block * block_bytes)?;
        found += 1;
    }
    if found < wanted {
        return Err(Trouble::Cut(format!("part {} of {wanted}", found + 1)));
    }
    Ok(Layout { kind: Kind::Recogniser, english_only: first == 51_864, layers: audio })
}

/// Elements and bytes of one block of a ggml tensor type (`type_traits` in ggml.c, S).
pub(super) fn block_of(kind: i32) -> Option<(u64, u64)> {
    Some(match kind {
        0 => (1, 4),
        1 | 30 => (1, 2),
        2 => (32, 18),
        3 => (32, 20),
        6 => (32, 22),
        7 => (32, 24),
        8 => (32, 34),
        10 => (256, 84),
        11 => (256, 110),
        12 => (256, 144),
        13 => (256, 176),
        14 => (256, 210),
        _ => return None,
    })
}

/// The model files to use.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Found {
    pub recogniser: PathBuf,
    /// The second listener; without one, doubts come from the first alone.
    pub second: Option<PathBuf>,
    pub vad: Option<PathBuf>,
}

/// Finds the models: `cli` (`--model`), the user's `settings`, the data folder of an installation, the source tree.
/// A file that somebody named is taken as it is, even if it does not exist: `check` then says so.
pub fn find_models(cli: Option<&Path>, settings: Option<&Path>) -> Result<Found, ModelError> {
    find_in(cli.or(settings), &folders())
}

fn find_in(named: Option<&Path>, folders: &[PathBuf]) -> Result<Found, ModelError> {
    let beside = named.and_then(Path::parent).map(Path::to_owned);
    let places = || beside.iter().chain(folders);
    let seek = |name: &str| places().map(|folder| folder.join(name)).find(|path| path.is_file());
    let recogniser = match named {
        Some(path) => path.to_owned(),
        None => seek(DEFAULT_RECOGNISER).or_else(|| any_in(folders)).ok_or_else(|| {
            ModelError::NoneFound { looked_for: DEFAULT_RECOGNISER.to_owned(), looked_in: folders.to_owned() }
        })?,
    };
    let second = seek(DEFAULT_SECOND).filter(|second| *second != recogniser);
    Ok(Found { recogniser, second, vad: seek(DEFAULT_VAD) })
}

/// Some other recogniser in one of the folders: the first by name, without the second listener and voice detectors.
fn any_in(folders: &[PathBuf]) -> Option<PathBuf> {
    folders.iter().find_map(|folder| models_in(folder).into_iter().find(|p| !is_companion(p)))
}

fn is_companion(path: &Path) -> bool {
    let name = path.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
    name == DEFAULT_SECOND || name.contains("vad")
}

/// The files of a folder that are named like models, sorted by name.
pub fn models_in(folder: &Path) -> Vec<PathBuf> {
    let mut found: Vec<PathBuf> = fs::read_dir(folder)
        .into_iter()
        .flatten()
        .filter_map(|entry| entry.ok().map(|e| e.path()))
        .filter(|path| {
            path.extension().is_some_and(|e| e == "bin")
                && path.file_name().is_some_and(|n| n.to_string_lossy().starts_with("ggml-"))
        })
        .collect();
    found.sort();
    found
}

/// The folders in which models are sought, in order: the user's data folder, the system's, next to the program, the
/// source tree.
pub fn folders() -> Vec<PathBuf> {
    use etcetera::BaseStrategy as _;
    let mut folders = Vec::new();
    if let Ok(base) = etcetera::choose_base_strategy() {
        folders.push(base.data_dir().join("tugback/models"));
    }
    let program = env::current_exe().ok().and_then(|p| p.canonicalize().ok());
    let program_folder = program.as_deref().and_then(Path::parent);
    if let Some(prefix) = program_folder.and_then(Path::parent) {
        folders.push(prefix.join("share/tugback/models"));
    }
    let shared = env::var("XDG_DATA_DIRS").unwrap_or_else(|_| "/usr/local/share:/usr/share".to_owned());
    folders.extend(env::split_paths(&shared).filter(|p| p.is_absolute()).map(|p| p.join("tugback/models")));
    if let Some(folder) = program_folder {
        // Next to the program, and for `target/release/tugback` the models folder beside `target`.
        folders.extend(folder.ancestors().take(3).map(|p| p.join("models")));
    }
    folders.push(Path::new(env!("CARGO_MANIFEST_DIR")).join("models"));
    let mut seen = std::collections::HashSet::new();
    folders.retain(|folder| seen.insert(folder.clone()));
    folders
}
