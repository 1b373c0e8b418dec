//! The sample tables of an MP4 track, kept as the bytes they are and walked once → where each sample lies and when.

use super::{
    mp4::{find, huge, long},
    mp4_sound::Lie,
};

/// Samples of equal size are taken together up to so many bytes.
const TOGETHER: u64 = 1 << 15;
/// After so many samples in a row behind the end of the file the rest of the table is not looked at.
const MOST_MISSING: u32 = 256;

/// One sample, or several of equal size.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Sample {
    pub(super) offset: u64,
    pub(super) size: u64,
    pub(super) at_ticks: u64,
}

/// The tables (ISO/IEC 14496-12, 8.6 and 8.7): entries only, without their counts.
#[derive(Debug, Default)]
pub(super) struct Table {
    /// Time to sample: count, ticks.
    stts: Vec<u8>,
    /// Sample to chunk: first chunk, samples in each, description.
    stsc: Vec<u8>,
    /// Sizes, where they differ.
    stsz: Vec<u8>,
    /// The size of all, or 0.
    size: u32,
    samples: u64,
    /// Chunk offsets.
    offsets: Vec<u8>,
    /// Offsets of 64 bits.
    wide: bool,
}

impl Table {
    /// From the body of a `stbl` box.
    pub(super) fn read(stbl: &[u8]) -> Self {
        let entries = |name: [u8; 4], from: usize| {
            find(stbl, name).and_then(|b| b.get(from..)).unwrap_or_default().to_vec()
        };
        let stsz = find(stbl, *b"stsz").unwrap_or_default();
        let wide = find(stbl, *b"stco").is_none();
        Self {
            stts: entries(*b"stts", 8),
            stsc: entries(*b"stsc", 8),
            stsz: stsz.get(12..).unwrap_or_default().to_vec(),
            size: long(stsz, 4).unwrap_or(0),
            samples: long(stsz, 8).unwrap_or(0).into(),
            offsets: entries(if wide { *b"co64" } else { *b"stco" }, 8),
            wide,
        }
    }

    /// How long the track is by its table.
    pub(super) fn ticks(&self) -> u64 {
        self.stts.chunks_exact(8).fold(0_u64, |sum, entry| {
            let (count, ticks) = (long(entry, 0).unwrap_or(0), long(entry, 4).unwrap_or(0));
            sum.saturating_add(u64::from(count) * u64::from(ticks))
        })
    }

    fn chunk_offset(&self, chunk: usize) -> Option<u64> {
        if self.wide { huge(&self.offsets, chunk * 8) } else { long(&self.offsets, chunk * 4).map(u64::from) }
    }
}

/// A walk through the tables.
#[derive(Debug)]
pub(super) struct Cursor {
    table: Table,
    /// The next chunk, from 0.
    chunk: usize,
    /// Samples that are left in the current chunk, and where they lie.
    left: u64,
    offset: u64,
    /// Entry of `stsc` that holds for the next chunk.
    stsc: usize,
    sample: u64,
    /// Entry of `stts`, and samples that are left in it.
    stts: usize,
    same: u64,
    ticks: u32,
    at_ticks: u64,
    start: u64,
    /// End of the file, and samples in a row that lie behind it.
    end: u64,
    missing: u32,
}

impl Cursor {
    /// Offsets count from `start`; the file ends at `end`.
    pub(super) const fn new(table: Table, start: u64, end: u64) -> Self {
        Self {
            table,
            chunk: 0,
            left: 0,
            offset: 0,
            stsc: 0,
            sample: 0,
            stts: 0,
            same: 0,
            ticks: 0,
            at_ticks: 0,
            start,
            end,
            missing: 0,
        }
    }

    /// The next sample, or several where they are of equal size.
    pub(super) fn next(&mut self, lie: Lie) -> Option<Sample> {
        if self.sample >= self.table.samples || self.missing > MOST_MISSING {
            return None;
        }
        while self.left == 0 {
            self.next_chunk()?;
        }
        let (count, size) = match lie {
            Lie::Packets => {
                let size = match self.table.size {
                    0 => long(&self.table.stsz, usize::try_from(self.sample).ok()?.checked_mul(4)?)?,
                    size => size,
                };
                (1, u64::from(size))
            }
            Lie::Frames { bytes } => {
                let bytes = bytes.max(1) as u64;
                let count = self.left.min((TOGETHER / bytes).max(1));
                (count, count * bytes)
            }
            Lie::Groups { bytes } => {
                let bytes = bytes.max(1) as u64;
                // Some writers count groups and give their size, most count the 64 frames in each.
                let frames = if u64::from(self.table.size) == bytes { 1 } else { 64 };
                let groups = (self.left / frames).clamp(1, TOGETHER / bytes);
                ((groups * frames).min(self.left), groups * bytes)
            }
        };
        self.missing = if self.offset < self.end { 0 } else { self.missing + 1 };
        let sample = Sample { offset: self.offset, size, at_ticks: self.at_ticks };
        self.left -= count;
        self.sample += count;
        self.offset = self.offset.saturating_add(size);
        self.pass(count);
        Some(sample)
    }

    fn next_chunk(&mut self) -> Option<()> {
        self.offset = self.table.chunk_offset(self.chunk)?.saturating_add(self.start);
        self.chunk += 1;
        let first = |entry: usize| long(&self.table.stsc, entry * 12);
        while first(self.stsc + 1).is_some_and(|first| first as usize <= self.chunk) {
            self.stsc += 1;
        }
        self.left = long(&self.table.stsc, self.stsc * 12 + 4)?.into();
        Some(())
    }

    /// Lets the time of so many samples pass.
    fn pass(&mut self, mut count: u64) {
        while count > 0 {
            if self.same == 0 {
                match (long(&self.table.stts, self.stts * 8), long(&self.table.stts, self.stts * 8 + 4)) {
                    (Some(same), Some(ticks)) => {
                        self.same = same.into();
                        self.ticks = ticks;
                        self.stts += 1;
                        continue;
                    }
                    // The table is too short: the last length goes on.
                    _ => self.same = u64::MAX,
                }
            }
            let now = count.min(self.same);
            self.same -= now;
            count -= now;
            self.at_ticks = self.at_ticks.saturating_add(now.saturating_mul(self.ticks.into()));
        }
    }
}
