//! A model file → the same model for shorter sound. A state of whisper.cpp holds room for the longest sound and text that
//! the model's header names, and fills it with zeros from the start; most breaths need a third of it. What the shorter model
//! hears of sound that fits is the same, bit by bit: of its tables of places the first rows are kept, nothing else changes.

use std::io::{self, Read, Seek, SeekFrom};

use super::super::model::block_of;

/// The longest sound and text that a model takes: frames of the encoder, tokens.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Reach {
    pub frames: u32,
    pub tokens: u32,
}

/// Reads a model file without what lies beyond the reach. None where the file is not laid out as expected (as
/// `whisper_model_load` of whisper.cpp 1.8 reads it), or reaches no farther by itself.
pub(super) fn read<R: Read + Seek>(file: &mut R, reach: Reach) -> io::Result<Option<Vec<u8>>> {
    let bytes = file.seek(SeekFrom::End(0))?;
    file.rewind()?;
    // Room that is not written to costs nothing; growing would copy what was read.
    let room = usize::try_from(bytes).unwrap_or(0);
    let mut copy = Copy { file, model: Vec::with_capacity(room) };
    copy.number()?;
    // n_vocab, n_audio_ctx, n_audio_state, n_audio_head, n_audio_layer, n_text_ctx and five more
    let mut whole = Reach { frames: 0, tokens: 0 };
    for place in 0..11 {
        let number = copy.number()?;
        if place == 1 {
            whole.frames = number;
            copy.instead(reach.frames);
        } else if place == 5 {
            whole.tokens = number;
            copy.instead(reach.tokens);
        }
    }
    if whole.frames <= reach.frames || whole.tokens <= reach.tokens {
        return Ok(None);
    }
    let (rows, columns) = (copy.number()?, copy.number()?);
    copy.take(u64::from(rows) * u64::from(columns) * 4)?;
    for _ in 0..copy.number()? {
        let length = copy.number()?;
        copy.take(length.into())?;
    }
    let mut shortened = 0;
    while copy.file.stream_position()? < bytes {
        let (dims, length, kind) = (copy.number()?, copy.number()?, copy.number()?);
        let mut elements = 1_u64;
        let mut last = 0;
        for _ in 0..dims {
            last = copy.number()?;
            elements = elements.saturating_mul(last.into());
        }
        let last_at = copy.model.len() - 4;
        let name = copy.take(length.into())?;
        let table = match copy.model.get(name..) {
            Some(b"encoder.positional_embedding") => Some((whole.frames, reach.frames)),
            Some(b"decoder.positional_embedding") => Some((whole.tokens, reach.tokens)),
            _ => None,
        };
        let Some((block, block_bytes)) = i32::try_from(kind).ok().and_then(block_of) else { return Ok(None) };
        let all = elements / block * block_bytes;
        let Some((rows, keep)) = table else {
            copy.take(all)?;
            continue;
        };
        if dims != 2 || last != rows || block != 1 {
            return Ok(None);
        }
        let kept = all / u64::from(rows) * u64::from(keep);
        if let Some(place) = copy.model.get_mut(last_at..last_at + 4) {
            place.copy_from_slice(&keep.to_le_bytes());
        }
        copy.take(kept)?;
        copy.file.seek_relative((all - kept).cast_signed())?;
        shortened += 1;
    }
    Ok((shortened == 2).then_some(copy.model))
}

struct Copy<'f, R> {
    file: &'f mut R,
    model: Vec<u8>,
}

impl<R: Read> Copy<'_, R> {
    /// Copies so many bytes; where they begin.
    fn take(&mut self, bytes: u64) -> io::Result<usize> {
        let at = self.model.len();
        let copied = self.file.by_ref().take(bytes).read_to_end(&mut self.model)?;
        if copied as u64 == bytes { Ok(at) } else { Err(io::ErrorKind::UnexpectedEof.into()) }
    }

    fn number(&mut self) -> io::Result<u32> {
        let at = self.take(4)?;
        let number = self.model.get(at..).and_then(|raw| <[u8; 4]>::try_from(raw).ok());
        Ok(u32::from_le_bytes(number.unwrap_or_default()))
    }

    /// Writes another number in place of the last one.
    fn instead(&mut self, number: u32) {
        self.model.truncate(self.model.len().saturating_sub(4));
        self.model.extend(number.to_le_bytes());
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Cursor;

    const REACH: Reach = Reach { frames: 2, tokens: 3 };

    fn numbers(numbers: &[u32]) -> Vec<u8> {
        numbers.iter().flat_map(|n| n.to_le_bytes()).collect()
    }

    fn tensor(name: &str, dims: &[u32], kind: u32, data: &[u8]) -> Vec<u8> {
        let length = u32::try_from(name.len()).unwrap();
        let head = [u32::try_from(dims.len()).unwrap(), length, kind];
        [numbers(&head), numbers(dims), name.as_bytes().to_vec(), data.to_vec()].concat()
    }

    /// A model of so many frames and tokens whose tables hold rows of one number each.
    fn model(frames: u32, tokens: u32) -> Vec<u8> {
        let rows = |n: u32| numbers(&(0..n).collect::<Vec<_>>());
        [
            numbers(&[0x6767_6d6c, 51865, frames, 8, 1, 1, tokens, 8, 1, 1, 1, 7]),
            numbers(&[1, 2, 90, 91]),
            [numbers(&[1, 3]), b"the".to_vec()].concat(),
            tensor("encoder.positional_embedding", &[1, frames], 0, &rows(frames)),
            tensor("encoder.conv1.weight", &[32], 8, &[7; 34]),
            tensor("decoder.positional_embedding", &[1, tokens], 0, &rows(tokens)),
            tensor("decoder.ln.bias", &[2], 0, &[9; 8]),
        ]
        .concat()
    }

    #[test]
    fn keeps_the_first_rows_and_everything_else() {
        assert_eq!(read(&mut Cursor::new(model(5, 4)), REACH).unwrap(), Some(model(2, 3)));
    }

    #[test]
    fn leaves_alone_what_it_does_not_know() {
        assert_eq!(read(&mut Cursor::new(model(2, 3)), REACH).unwrap(), None, "it is short already");
        let mut strange = model(5, 4);
        let name = strange.windows(7).position(|w| w == b"encoder").unwrap();
        strange[name] = b'E';
        assert_eq!(read(&mut Cursor::new(strange), REACH).unwrap(), None, "a table that is not found");
        let cut = model(5, 4);
        assert!(read(&mut Cursor::new(&cut[..cut.len() - 3]), REACH).is_err());
    }
}
