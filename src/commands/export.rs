//! `tugback export LOG --as …`: the log in a form that others read.

use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};
use miette::{IntoDiagnostic as _, WrapErr as _};

use crate::commands::{Done, put};
use crate::export::note::{self, Options, Paper};
use crate::export::{Format, Template, captions, checklist, draw, fhir, table};
use crate::log::{self, Log};

/// Hands a log on: as a note, a letter, a table, captions, a picture, a FHIR Bundle, a checklist
///
/// Doubtful values carry "[?]" in every form. What was said is escaped for the form: it is never code, markup or a formula.
#[derive(Debug, Args)]
pub(crate) struct Export {
    /// The log
    log: PathBuf,
    /// The form
    #[arg(long = "as", value_enum, value_name = "FORM")]
    form: Form,
    /// Where to write it, whole or not at all; `-` is stdout
    #[arg(short, long, value_name = "FILE", default_value = "-")]
    output: PathBuf,
    /// note, letter, checklist: the format [default: by the name of the template, then of the output, else text; checklist: Markdown]
    #[arg(long, value_enum, value_name = "FORMAT")]
    format: Option<FormatArg>,
    /// note, letter, checklist: your own template instead of the built-in one, which `--show-template` prints
    #[arg(long, value_name = "FILE")]
    template: Option<PathBuf>,
    /// note, letter, checklist: print the built-in template, to begin your own with
    #[arg(long, conflicts_with = "template")]
    show_template: bool,
    /// note, letter: each step with its time in the recording
    #[arg(long)]
    times: bool,
    /// checklist: where the recording is, for links that play it [default: the recording's name, beside the checklist]
    #[arg(long, value_name = "PATH")]
    media: Option<String>,
    /// captions: of what
    #[arg(long, value_enum, value_name = "WHAT", default_value_t = Of::Words)]
    of: Of,
    /// table: begin with a byte order mark, by which some spreadsheets know UTF-8
    #[arg(long)]
    bom: bool,
    #[command(flatten)]
    file: super::settings::File,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Form {
    /// For the patient record, by tooth and canal
    Note,
    /// To the referring dentist
    Letter,
    /// Of a lecture or a demonstration: steps, rules, decisions and cautions with boxes to tick
    Checklist,
    /// FHIR R4 Bundle, for other health software
    Fhir,
    /// CSV, one row per entry, a column per field; texts cannot run as formulas
    Table,
    /// WebVTT, to be shown with the recording
    Captions,
    /// SVG: each canal, and the visit along a line
    Picture,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum FormatArg {
    Text,
    Markdown,
    /// For a checklist, or with a template of your own
    Html,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Of {
    /// Everything that was said
    Words,
    /// The entries with their values
    Entries,
}

pub(crate) fn run(args: &Export) -> miette::Result<Done> {
    let log = log::read(&args.log).into_diagnostic()?;
    let text = make(args, &log)?;
    put(&args.log, &args.output, &text)?;
    Ok(Done::Well)
}

fn make(args: &Export, log: &Log) -> miette::Result<String> {
    Ok(match (args.form, args.of) {
        (Form::Note, _) => paper(args, log, Paper::Note)?,
        (Form::Letter, _) => paper(args, log, Paper::Letter)?,
        (Form::Checklist, _) => list(args, log)?,
        (Form::Fhir, _) => fhir::bundle(log, &jiff::Timestamp::now().to_string()).into_diagnostic()?,
        (Form::Table, _) => table::csv(log, args.bom).into_diagnostic()?,
        (Form::Captions, Of::Words) => captions::of_words(log),
        (Form::Captions, Of::Entries) => captions::of_entries(log),
        (Form::Picture, _) => draw::picture(log, &args.file.load()?.checks),
    })
}

fn list(args: &Export, log: &Log) -> miette::Result<String> {
    let format = format(args, Format::Markdown);
    if args.show_template {
        return Ok(checklist::built_in(format).text);
    }
    let template = args.template.as_deref().map(template).transpose()?;
    checklist::write(log, &checklist::Options { format, template, media: args.media.clone() })
        .into_diagnostic()
}

fn paper(args: &Export, log: &Log, paper: Paper) -> miette::Result<String> {
    let format = format(args, Format::Text);
    if args.show_template {
        return Ok(note::built_in(paper, format).into_diagnostic()?.text);
    }
    let template = args.template.as_deref().map(template).transpose()?;
    let windows = args.file.load()?.checks;
    note::write(log, paper, &Options { format, times: args.times, template, windows }).into_diagnostic()
}

/// What was asked for, else by the name of the template, else by that of the output.
fn format(args: &Export, usual: Format) -> Format {
    let by_name = |path: &Path| Format::of_name(&path.display().to_string());
    match args.format {
        Some(FormatArg::Text) => Format::Text,
        Some(FormatArg::Markdown) => Format::Markdown,
        Some(FormatArg::Html) => Format::Html,
        None => args.template.as_deref().and_then(by_name).or_else(|| by_name(&args.output)).unwrap_or(usual),
    }
}

/// The largest template that is read, in bytes: a template is a page or two.
const LARGEST_TEMPLATE: u64 = 1 << 20;

fn template(path: &Path) -> miette::Result<Template> {
    let name = path.display().to_string();
    let cannot = || format!("cannot read the template `{name}`");
    let bytes = std::fs::metadata(path).into_diagnostic().wrap_err_with(cannot)?.len();
    if bytes > LARGEST_TEMPLATE {
        miette::bail!("the template `{name}` has {bytes} bytes; up to {LARGEST_TEMPLATE} can be read");
    }
    let text = std::fs::read_to_string(path).into_diagnostic().wrap_err_with(cannot)?;
    Ok(Template { name, text })
}
