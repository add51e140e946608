"use strict";
// Time lost to clouds: from the steps in force to those of the rest of the night.
//
// A loss: {index: the step it begins in, shot: subs of it that are done, late: its lateness, from,
// to: when nothing is shot, answer: the solved rest that is taken, or -1}. Without an answer what
// was lost is left out, and the rest keeps its order and its times; so flips, horizons and the
// end of the night hold as they were planned.
var nightLosses = (function () {
  var MINUTE = 60000, EARLY = MINUTE, LONGEST_WAIT = 10 * MINUTE;
  var MINUTES = [15, 30, 60, 90, 120];

  function each(item) { return (item.end - item.start) / item.shot.count; }

  // Some subs of a block, `first` of them left out before.
  function part(item, first, count, id) {
    var length = each(item), start = item.start + first * length;
    var shot = Object.assign({}, item.shot, {count: count});
    if (first) { shot.start_utc = new Date(start).toISOString().slice(0, 19) + "Z"; }
    return Object.assign({}, item, {id: id, start: start, end: start + count * length, shot: shot,
      subs: item.subs.replace(/^\d+/, String(count))});
  }

  // The solved loss that resumes when this one does; -1 if none comes near.
  function answerOf(solved, list, index, from, to) {
    var blocks = list.slice(index).filter(function (item) { return item.shot; });
    var begun = list[index] && list[index].shot, best = -1, least = Infinity;
    solved.forEach(function (one, i) {
      var near = blocks.slice(0, begun ? 2 : 1).some(function (item) { return item.start === one.at; });
      var wait = one.at + one.minutes * MINUTE - to;
      if (near && wait >= -EARLY && wait <= LONGEST_WAIT && Math.abs(wait) < least) {
        least = Math.abs(wait);
        best = i;
      }
    });
    return best;
  }

  // What is left of the steps after a loss, without solving anew.
  function left(list, loss, name, resume) {
    var begin = loss.to, length = resume, flip = null, found = [];
    list.forEach(function (item) {
      if (item.kind === "flip" && item.end <= loss.to) { flip = item; }
      // A flip centres anew by itself.
      if ((item.kind === "flip" || item.must) && item.end > begin && item.start < begin + length) {
        begin = item.end;
        length = item.kind === "flip" ? 0 : resume;
      }
    });
    list.forEach(function (item) {
      var ready = begin + length, gone;
      if (item.shot) {
        gone = Math.max(0, Math.ceil((ready - item.start) / each(item) - 1e-6));
        if (gone < item.shot.count) { found.push(part(item, gone, item.shot.count - gone, name(item))); }
      } else if (item.must || item.start >= ready || (item.kind === "flip" && item.end > loss.to)) {
        found.push(Object.assign({}, item, {id: name(item)}));
      }
    });
    var next = found.find(function (item) { return item.shot; });
    if (!next) { return []; }
    if (length) {
      var where = " and centre, focus (" + next.shot.target + ")";
      var turned = flip && flip.words.endsWith("(" + next.shot.target + ")");
      found.push({id: name({id: "resume"}), kind: turned ? "flip" : "between", start: begin,
        end: begin + length, words: (turned ? "Meridian flip, slew" : "Slew") + where});
    }
    return found.sort(function (one, other) { return one.start - other.start; });
  }

  // The steps of a night after its losses, one after another.
  function after(data, losses) {
    return losses.reduce(function (list, loss, number) {
      var name = function (item) { return "d" + number + "-" + item.id; };
      var kept = list.slice(0, loss.index), rest = list.slice(loss.index), begun = null;
      if (loss.shot && rest.length && rest[0].shot) {
        begun = part(rest[0], 0, loss.shot, name({id: "cut-" + rest[0].id}));
        begun.start += loss.late;
        begun.end += loss.late;
        kept.push(Object.assign(begun, {again: true}));
      }
      var later = loss.answer >= 0 ? data.losses[loss.answer].items : left(rest, loss, name, data.resume);
      return kept.concat(later.map(function (item) { return Object.assign({}, item, {again: true}); }));
    }, data.items.filter(function (item) { return item.id[0] !== "e"; }));
  }

  return {MINUTES: MINUTES, after: after, answerOf: answerOf};
})();
