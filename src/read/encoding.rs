//! Bytes to text: UTF-8, UTF-16 and Windows-1252.

use encoding_rs::{UTF_16BE, UTF_16LE, WINDOWS_1252};

/// How a text file is encoded.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Encoding {
    Utf8,
    /// UTF-8 with bytes that are none.
    BrokenUtf8,
    Utf16Little,
    Utf16Big,
    Windows1252,
}

impl Encoding {
    pub(crate) const fn name(self) -> &'static str {
        match self {
            Self::Utf8 | Self::BrokenUtf8 => "UTF-8",
            Self::Utf16Little | Self::Utf16Big => "UTF-16",
            Self::Windows1252 => "Windows-1252",
        }
    }

    /// What the start of a file says; `None` where only its whole text can tell.
    pub(crate) fn of_start(start: &[u8]) -> Option<Self> {
        match start {
            [0xff, 0xfe, ..] => Some(Self::Utf16Little),
            [0xfe, 0xff, ..] => Some(Self::Utf16Big),
            _ => utf16_without_mark(start),
        }
    }

    /// What the whole of a file says.
    pub(crate) fn of_whole(bytes: &[u8]) -> Self {
        if let Some(encoding) = Self::of_start(bytes.get(..4096).unwrap_or(bytes)) {
            return encoding;
        }
        let Err(first) = std::str::from_utf8(bytes) else { return Self::Utf8 };
        if bytes.starts_with(BOM) {
            return Self::BrokenUtf8;
        }
        // Letters of several bytes that are right by chance are rare in Windows-1252.
        let mut good = bytes.get(..first.valid_up_to()).map_or(0, letters_beyond_ascii);
        let mut bad = 0;
        for chunk in bytes.get(first.valid_up_to()..).unwrap_or_default().utf8_chunks() {
            good += letters_beyond_ascii(chunk.valid().as_bytes());
            bad += usize::from(!chunk.invalid().is_empty());
        }
        if good > bad { Self::BrokenUtf8 } else { Self::Windows1252 }
    }
}

/// The mark that a UTF-8 file may start with.
pub(crate) const BOM: &[u8] = &[0xef, 0xbb, 0xbf];

fn letters_beyond_ascii(valid: &[u8]) -> usize {
    valid.iter().filter(|byte| **byte >= 0xc0).count()
}

/// ASCII in UTF-16 has a NUL in every other byte.
fn utf16_without_mark(start: &[u8]) -> Option<Encoding> {
    let pairs = start.len() / 2;
    if pairs < 4 {
        return None;
    }
    let nul = |offset: usize| start.iter().skip(offset).step_by(2).filter(|byte| **byte == 0).count();
    let (even, odd) = (nul(0), nul(1));
    if odd * 10 >= pairs * 7 && even * 10 < pairs {
        Some(Encoding::Utf16Little)
    } else if even * 10 >= pairs * 7 && odd * 10 < pairs {
        Some(Encoding::Utf16Big)
    } else {
        None
    }
}

/// The text of a whole file; what can't be decoded becomes U+FFFD.
pub(crate) fn decoded(bytes: Vec<u8>, encoding: Encoding) -> String {
    let text = match encoding {
        Encoding::Utf8 | Encoding::BrokenUtf8 => match String::from_utf8(bytes) {
            Ok(text) => text,
            Err(error) => String::from_utf8_lossy(error.as_bytes()).into_owned(),
        },
        Encoding::Utf16Little => UTF_16LE.decode_without_bom_handling(&bytes).0.into_owned(),
        Encoding::Utf16Big => UTF_16BE.decode_without_bom_handling(&bytes).0.into_owned(),
        // Five of its bytes stand for nothing; the decoder makes control signs of them.
        Encoding::Windows1252 => WINDOWS_1252
            .decode_without_bom_handling(&bytes)
            .0
            .chars()
            .map(|letter| if ('\u{80}'..='\u{9f}').contains(&letter) { '\u{fffd}' } else { letter })
            .collect(),
    };
    match text.strip_prefix('\u{feff}') {
        Some(rest) => rest.to_owned(),
        None => text,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn encodings_are_told_apart() {
        let utf16 = |text: &str| -> Vec<u8> { text.encode_utf16().flat_map(u16::to_le_bytes).collect() };
        for (bytes, encoding, text) in [
            (b"part_no;qty\n".to_vec(), Encoding::Utf8, "part_no;qty\n"),
            ("\u{feff}Ä".as_bytes().to_vec(), Encoding::Utf8, "Ä"),
            (b"L\xe4nge;qty".to_vec(), Encoding::Windows1252, "Länge;qty"),
            (b"\x80 12\x81".to_vec(), Encoding::Windows1252, "€ 12\u{fffd}"),
            (
                "Länge Höhe \u{fffd}".replace('\u{fffd}', "").bytes().chain([0xff]).collect(),
                Encoding::BrokenUtf8,
                "Länge Höhe \u{fffd}",
            ),
            (utf16("part_no;qty\n"), Encoding::Utf16Little, "part_no;qty\n"),
            ([vec![0xff, 0xfe], utf16("Ä;b")].concat(), Encoding::Utf16Little, "Ä;b"),
            (
                [0xfe, 0xff].into_iter().chain("Ä;b".encode_utf16().flat_map(u16::to_be_bytes)).collect(),
                Encoding::Utf16Big,
                "Ä;b",
            ),
        ] {
            assert_eq!(Encoding::of_whole(&bytes), encoding, "{text}");
            assert_eq!(decoded(bytes, encoding), text);
        }
    }
}
