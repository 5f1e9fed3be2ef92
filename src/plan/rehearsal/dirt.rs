//! A recorder's file as it is written: tidy, or with the dirt that loggers really leave.
//!
//! What each kind of dirt does to a reading is known (an outlier is the converter's full-scale code, a
//! doubled or swapped row loses nothing), so a reduction can be held to the truth behind it.

use super::noise::Stream;
use super::spec::{Recorder, Shows};

/// What a 24-bit converter writes when it runs over or loses its cable.
const FULL_SCALE_CODE: &str = "8388607";

/// The bytes of a log's file from its lines, the header first.
pub(super) fn file(recorder: &Recorder, name: &str, seed: u64, lines: Vec<Vec<String>>) -> Vec<u8> {
    let dirt = &recorder.dirt;
    let mut random = Stream::new(seed, &format!("recorder.{name}.dirt"));
    let mut lines = lines.into_iter();
    let header = lines.next().unwrap_or_default();
    let mut rows: Vec<Vec<String>> = Vec::new();
    for mut row in lines {
        if random.uniform() < dirt.wild {
            spoil(recorder, &mut row);
        }
        if random.uniform() < dirt.doubled {
            rows.push(row.clone());
        }
        rows.push(row);
    }
    // Never the first row: its time is where the log's clock begins.
    let mut at = 1;
    while at + 1 < rows.len() {
        if random.uniform() < dirt.swapped {
            rows.swap(at, at + 1);
            at += 1;
        }
        at += 1;
    }
    let end = if dirt.crlf { "\r\n" } else { "\n" };
    let mut out = String::new();
    for line in 1..=dirt.head_lines {
        out += &format!("# logger ready, note {line} of {}{end}", dirt.head_lines);
    }
    out += &header.join(&dirt.delimiter.to_string());
    out += end;
    for row in &rows {
        let mut line = row.join(&dirt.delimiter.to_string());
        if dirt.decimal_comma {
            line = line.replace('.', ",");
        }
        out += &line;
        out += end;
    }
    if dirt.cut_off {
        let last = rows.last().map_or(0, |row| row.join(",").len());
        out.truncate(out.len() - end.len() - last / 2);
    }
    out.into_bytes()
}

/// Every cell of a row reads its converter's full-scale code.
fn spoil(recorder: &Recorder, row: &mut [String]) {
    let first = usize::from(recorder.time.is_some());
    for (field, column) in row.iter_mut().skip(first).zip(recorder.columns.values()) {
        if matches!(column.shows, Shows::Cell(_)) {
            FULL_SCALE_CODE.clone_into(field);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::spec::Dirt;
    use super::super::spec::tests::still_rehearsal;
    use super::*;

    fn written(dirt: Dirt) -> String {
        let mut recorder = still_rehearsal().recorders[0].clone();
        recorder.dirt = dirt;
        let line = |fields: [&str; 3]| fields.map(str::to_owned).to_vec();
        let lines = vec![
            line(["t", "tilt", "nozzle"]),
            line(["0", "0.5", "1.5"]),
            line(["1000", "0.6", "1.6"]),
            line(["2000", "0.7", "1.7"]),
        ];
        String::from_utf8(file(&recorder, "stand", 1, lines)).unwrap()
    }

    #[test]
    fn each_kind_of_dirt_does_what_it_says() {
        assert_eq!(
            written(Dirt::default()),
            "t,tilt,nozzle\n0,0.5,1.5\n1000,0.6,1.6\n2000,0.7,1.7\n"
        );
        let dirt = Dirt {
            head_lines: 1,
            delimiter: ';',
            decimal_comma: true,
            crlf: true,
            doubled: 1.0,
            cut_off: true,
            ..Dirt::default()
        };
        assert_eq!(
            written(dirt),
            "# logger ready, note 1 of 1\r\nt;tilt;nozzle\r\n0;0,5;1,5\r\n0;0,5;1,5\r\n\
             1000;0,6;1,6\r\n1000;0,6;1,6\r\n2000;0,7;1,7\r\n2000;0"
        );
        let swapped = Dirt {
            swapped: 1.0,
            ..Dirt::default()
        };
        assert!(written(swapped).ends_with("0,0.5,1.5\n2000,0.7,1.7\n1000,0.6,1.6\n"));
    }
}
