//! Microphones of this computer, through cpal.

use cpal::{
    Data, Device, DeviceId, ErrorKind, FromSample, SampleFormat, SizedSample, SupportedStreamConfig,
    traits::{DeviceTrait as _, HostTrait as _, StreamTrait as _},
};

use super::capture::{Asking, Capture, CaptureError, Event, Format, Sink, Stream};

/// One microphone: the system's default one, or the one that was named.
#[derive(Debug)]
pub struct Microphone {
    name: String,
    device: Device,
    id: Option<DeviceId>,
    asking: Asking,
}

/// What is known of a microphone before it is opened.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct About {
    pub name: String,
    /// The system's name for it; can be given to `--microphone` too.
    pub id: String,
    pub default: bool,
    /// How it delivers sound by itself, if it says so.
    pub format: Option<Format>,
}

/// All microphones that can be opened as far as the system says, the default one first.
pub fn list() -> Result<Vec<About>, CaptureError> {
    Asking::default().ask(all).ok_or_else(no_answer)
}

/// The sound system does not even say what there is.
fn no_answer() -> CaptureError {
    CaptureError::NoAnswer { name: "the microphone".to_owned() }
}

fn all() -> Vec<About> {
    let host = cpal::default_host();
    let default = host.default_input_device();
    let default_id = default.as_ref().and_then(|d| d.id().ok());
    let others = host.input_devices().map(Iterator::collect::<Vec<_>>).unwrap_or_default();
    let others = others.into_iter().filter(|d| d.id().ok() != default_id);
    let about = |device: &Device| About {
        name: device.to_string(),
        id: device.id().map(|id| id.id().to_owned()).unwrap_or_default(),
        default: device.id().ok() == default_id,
        format: device.default_input_config().ok().map(|c| format(&c)),
    };
    let others: Vec<About> = others.map(|d| about(&d)).collect();
    // "null" is the system's name for a device that gives zeros.
    default.iter().map(about).chain(others).filter(|a| a.format.is_some() && a.id != "null").collect()
}

impl Microphone {
    /// The default microphone, or the one whose name or system name holds `wanted`.
    pub fn find(wanted: Option<&str>) -> Result<Self, CaptureError> {
        let wanted = wanted.map(str::to_owned);
        Asking::default().ask(move || Self::found(wanted.as_deref())).unwrap_or_else(|| Err(no_answer()))
    }

    fn found(wanted: Option<&str>) -> Result<Self, CaptureError> {
        let host = cpal::default_host();
        let device = match wanted {
            None => host.default_input_device().ok_or(CaptureError::NoDevice)?,
            Some(wanted) => {
                let low = wanted.to_lowercase();
                let all: Vec<Device> = host.input_devices().map(Iterator::collect).unwrap_or_default();
                let is = |d: &Device, exactly: bool| {
                    let id = d.id().map(|id| id.id().to_lowercase()).unwrap_or_default();
                    let name = d.to_string().to_lowercase();
                    if exactly { id == low || name == low } else { id.contains(&low) || name.contains(&low) }
                };
                let there: Vec<String> = all.iter().map(ToString::to_string).collect();
                let place = all.iter().position(|d| is(d, true)).or(all.iter().position(|d| is(d, false)));
                place.and_then(|n| all.into_iter().nth(n)).ok_or_else(|| CaptureError::NotNamed {
                    wanted: wanted.to_owned(),
                    there: if there.is_empty() { "none".to_owned() } else { there.join(", ") },
                })?
            }
        };
        Ok(Self { name: device.to_string(), id: device.id().ok(), device, asking: Asking::default() })
    }
}

struct Open {
    _stream: cpal::Stream,
}

impl Stream for Open {}

impl Capture for Microphone {
    fn name(&self) -> String {
        self.name.clone()
    }

    fn open(&mut self, sink: Sink) -> Result<(Format, Box<dyn Stream>), CaptureError> {
        let (name, device, id) = (self.name.clone(), self.device.clone(), self.id.clone());
        let opened = self.asking.ask(move || {
            // The device may have been away: ask for the same one again, never for another.
            let again = id.as_ref().and_then(|id| cpal::default_host().device_by_id(id));
            let device = again.unwrap_or(device);
            let none = match device.default_input_config() {
                Err(e) => e.to_string(),
                Ok(_) => "it has none that can be read".to_owned(),
            };
            let (config, stream) =
                first_that_opens(&name, &none, configs(&device), |c| open_as(&device, c, &sink))?;
            Ok((device, format(&config), Open { _stream: stream }))
        });
        let (device, format, stream) =
            opened.unwrap_or_else(|| Err(CaptureError::NoAnswer { name: self.name() }))?;
        self.device = device;
        Ok((format, Box::new(stream)))
    }
}

fn open_as(
    device: &Device,
    config: &SupportedStreamConfig,
    sink: &Sink,
) -> Result<cpal::Stream, cpal::Error> {
    let (blocks, troubles) = (sink.clone(), sink.clone());
    let stream = device.build_input_stream_raw(
        config.config(),
        config.sample_format(),
        move |data: &Data, _: &_| {
            if let Some(samples) = floats(data).filter(|s| !s.is_empty()) {
                blocks.give(Event::Block(samples));
            }
        },
        move |error| {
            let event = match error.kind() {
                ErrorKind::Xrun => Event::Overrun,
                ErrorKind::DeviceChanged => Event::Rerouted,
                ErrorKind::RealtimeDenied => return,
                _ => Event::Gone(error.to_string()),
            };
            troubles.give(event);
        },
        None,
    )?;
    stream.play()?;
    Ok(stream)
}

/// Tries one format after the other; what the account may not do, no other format cures.
fn first_that_opens<C, S>(
    name: &str,
    none: &str,
    configs: impl IntoIterator<Item = C>,
    mut open: impl FnMut(&C) -> Result<S, cpal::Error>,
) -> Result<(C, S), CaptureError> {
    let name = || name.to_owned();
    let mut reason = none.to_owned();
    for config in configs {
        match open(&config) {
            Ok(stream) => return Ok((config, stream)),
            Err(e) => match e.kind() {
                ErrorKind::PermissionDenied => return Err(CaptureError::Permission { name: name() }),
                ErrorKind::DeviceBusy => return Err(CaptureError::Busy { name: name() }),
                _ => reason = e.to_string(),
            },
        }
    }
    Err(CaptureError::Refused { name: name(), reason })
}

/// The device's own format first, then the others that it says it has: that list can be wrong, too.
fn configs(device: &Device) -> Vec<SupportedStreamConfig> {
    let others = device.supported_input_configs().map(Iterator::collect::<Vec<_>>).unwrap_or_default();
    let others = others.into_iter().map(cpal::SupportedStreamConfigRange::with_standard_sample_rate);
    device
        .default_input_config()
        .into_iter()
        .chain(others)
        .filter(|c| readable(c.sample_format()) && (1..=8).contains(&c.channels()) && c.sample_rate() > 0)
        .take(16)
        .collect()
}

fn format(config: &SupportedStreamConfig) -> Format {
    let kind = config.sample_format();
    let bits = if kind.sample_size() <= 2 && !kind.is_float() { 16 } else { 24 };
    Format { rate_hz: config.sample_rate(), channels: config.channels(), bits }
}

const fn readable(format: SampleFormat) -> bool {
    use SampleFormat::{F32, F64, I8, I16, I32, U8, U16, U32};
    matches!(format, I8 | I16 | I32 | U8 | U16 | U32 | F32 | F64)
}

fn floats(data: &Data) -> Option<Vec<f32>> {
    fn of<T: SizedSample>(data: &Data) -> Option<Vec<f32>>
    where
        f32: FromSample<T>,
    {
        Some(data.as_slice::<T>()?.iter().map(|s| f32::from_sample_(*s)).collect())
    }
    match data.sample_format() {
        SampleFormat::I8 => of::<i8>(data),
        SampleFormat::I16 => of::<i16>(data),
        SampleFormat::I32 => of::<i32>(data),
        SampleFormat::U8 => of::<u8>(data),
        SampleFormat::U16 => of::<u16>(data),
        SampleFormat::U32 => of::<u32>(data),
        SampleFormat::F32 => of::<f32>(data),
        SampleFormat::F64 => of::<f64>(data),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Formats with what opening each gives; what is opened, or the sentence.
    fn check(formats: &[(&'static str, Option<ErrorKind>)], expect: &str) {
        let mut tried = Vec::new();
        let opened = first_that_opens("desk microphone", "it has none", formats, |(name, fails)| {
            tried.push(*name);
            fails.map_or(Ok(()), |kind| Err(kind.into()))
        });
        let told = opened.map_or_else(|e| e.to_string(), |((name, _), ())| (*name).to_owned());
        assert!(told.contains(expect), "{told}, tried: {tried:?}");
    }

    /// The list of a device can be empty, odd, or wrong.
    #[test]
    fn a_format_that_is_refused_is_no_end() {
        check(&[("192 kHz, 8 channels", None)], "192 kHz, 8 channels");
        check(&[("16 kHz", Some(ErrorKind::UnsupportedConfig)), ("48 kHz", None)], "48 kHz");
        check(&[("16 kHz", Some(ErrorKind::UnsupportedConfig))], "cannot be opened in any of its formats");
        check(&[], "it has none");
        check(&[("48 kHz", Some(ErrorKind::PermissionDenied)), ("16 kHz", None)], "may not listen");
        check(&[("48 kHz", Some(ErrorKind::DeviceBusy)), ("16 kHz", None)], "in use by another program");
    }
}
