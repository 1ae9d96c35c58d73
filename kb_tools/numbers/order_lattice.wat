;; The innermost loops of order_lattice.py, which tells what they are about and lays out the memory.
;;
;; `solve` works out every state of some sets of causes. A set's free checks are its axes, lowest
;; first; a subset of them that are done is an int with a bit for each axis. What depends on such a
;; subset by a product or a sum (weights, factors, places of values) is kept as two tables, for the
;; lower half of the axes and for the upper one. A variant is a set of isolated hazards.
(module
  (import "layout" "memory" (memory 1))
  (import "layout" "values" (memory $values i64 1)) ;; f64 for each state; 0 holds the 0 of what cannot come up

  ;; How many of each there are. Most numbers below are addresses in bytes.
  (import "layout" "causes" (global $causes i32))
  (import "layout" "checks" (global $checks i32))
  (import "layout" "answers" (global $answers i32))   ;; the most that a check has
  (import "layout" "variants" (global $variants i32))
  (import "layout" "hazards" (global $hazards i32))

  ;; The problem.
  (import "layout" "weights" (global $weights i32))   ;; f64[causes]
  (import "layout" "chance" (global $chance i32))     ;; f64[checks][causes]: of each answer it may show
  (import "layout" "minutes" (global $minutes i32))   ;; f64[checks]
  (import "layout" "stays" (global $stays i32))       ;; f64[variants]: minutes of a stay of all in it
  (import "layout" "exposes" (global $exposes i32))   ;; i32[checks]: variants
  (import "layout" "needs" (global $needs i32))       ;; i32[checks]: variants
  (import "layout" "masks" (global $masks i32))       ;; i64[checks][answers]: causes
  (import "layout" "exposing" (global $exposing i32)) ;; i64[hazards]: checks
  (import "layout" "needing" (global $needing i32))   ;; i64[hazards]: checks

  ;; The sets of causes, and for each set and variant its cube of values.
  (import "layout" "sets" (global $sets i32))         ;; i64[sets]: causes
  (import "layout" "sure" (global $sure i32))         ;; i64[sets]: checks that surely split it
  (import "layout" "shared" (global $shared i32))     ;; i64[sets]: checks that may split it or leave it whole
  (import "layout" "made" (global $made i32))         ;; i64[sets]: those of them that were made
  (import "layout" "free" (global $free i32))         ;; i64[sets]: the others of them
  (import "layout" "first" (global $first i32))       ;; i32[sets]: the lowest cause
  (import "layout" "own" (global $own i32))           ;; i64[sets]: bit for each variant that has a cube
  (import "layout" "base" (global $base i32))         ;; i32[sets][variants]: where its cube begins
  (import "layout" "axes" (global $axes i32))         ;; i64[sets][variants]: the free checks of the cube
  (import "layout" "spare" (global $spare i32))       ;; i32[sets]: hazards that count as isolated

  ;; For the sets at hand: i32[sets][checks][answers], the set that an answer leaves, or -1.
  (import "layout" "children" (global $children i32))

  ;; Room to work in.
  (import "layout" "axis" (global $axis i32))         ;; i32[64]: the check of each axis
  (import "layout" "stages" (global $stages i32))     ;; i32[hazards][3]: see $find_stages
  (import "layout" "candidates" (global $candidates i32))
  (import "layout" "weight" (global $weight i32))     ;; f64[subsets]: the weight of each state
  (import "layout" "tables" (global $tables i32))

  (global $low (mut i32) (i32.const 0))               ;; axes in the lower half
  (global $high (mut i32) (i32.const 0))              ;; and in the upper one
  (global $places (mut i32) (i32.const 0))            ;; bytes of two tables of places

  (func $check_of (param $axis_number i32) (result i32)
    (i32.load (i32.add (global.get $axis) (i32.shl (local.get $axis_number) (i32.const 2)))))

  (func $chance_of (param $check i32) (param $cause i32) (result f64)
    (f64.load (i32.add (global.get $chance) (i32.shl
      (i32.add (i32.mul (local.get $check) (global.get $causes)) (local.get $cause)) (i32.const 3)))))

  (func $has (param $of i64) (param $bit i32) (result i32)
    (i32.wrap_i64 (i64.and (i64.shr_u (local.get $of) (i64.extend_i32_u (local.get $bit))) (i64.const 1))))

  ;; How far on the value stands in a cube with such axes once this check is done.
  (func $step (param $cube i64) (param $check i32) (result i32)
    (if (result i32) (call $has (local.get $cube) (local.get $check))
      (then (i32.shl (i32.const 1) (i32.wrap_i64 (i64.popcnt (i64.and (local.get $cube)
        (i64.sub (i64.shl (i64.const 1) (i64.extend_i32_u (local.get $check))) (i64.const 1)))))))
      (else (i32.const 0))))

  ;; What this check, once done, does to the weights of a set beside what its states say.
  (func $factor (param $shared_by i64) (param $cause i32) (param $check i32) (result f64)
    (if (result f64) (call $has (local.get $shared_by) (local.get $check))
      (then (f64.const 1))
      (else (call $chance_of (local.get $check) (local.get $cause)))))

  ;; `start` plus the steps of all checks in `done`.
  (func $place_after (param $start i32) (param $cube i64) (param $done i64) (result i32)
    (block $end (loop $next
      (br_if $end (i64.eqz (local.get $done)))
      (local.set $start (i32.add (local.get $start)
        (call $step (local.get $cube) (i32.wrap_i64 (i64.ctz (local.get $done))))))
      (local.set $done (i64.and (local.get $done) (i64.sub (local.get $done) (i64.const 1))))
      (br $next)))
    (local.get $start))

  ;; `start` times the factors of all checks in `done`.
  (func $factor_after (param $start f64) (param $shared_by i64) (param $cause i32) (param $done i64) (result f64)
    (block $end (loop $next
      (br_if $end (i64.eqz (local.get $done)))
      (local.set $start (f64.mul (local.get $start)
        (call $factor (local.get $shared_by) (local.get $cause) (i32.wrap_i64 (i64.ctz (local.get $done))))))
      (local.set $done (i64.and (local.get $done) (i64.sub (local.get $done) (i64.const 1))))
      (br $next)))
    (local.get $start))

  ;; A table of sums: `start` plus the steps of each subset of the axes from `from` to before `to`.
  (func $half_of_places (param $out i32) (param $start i32) (param $cube i64) (param $from i32) (param $to i32)
    (local $bytes i32) (local $at i32) (local $by i32)
    (i32.store (local.get $out) (local.get $start))
    (local.set $bytes (i32.const 4))
    (block $end (loop $next
      (br_if $end (i32.ge_u (local.get $from) (local.get $to)))
      (local.set $by (call $step (local.get $cube) (call $check_of (local.get $from))))
      (local.set $at (local.get $out))
      (loop $copy
        (i32.store (i32.add (local.get $at) (local.get $bytes)) (i32.add (i32.load (local.get $at)) (local.get $by)))
        (local.set $at (i32.add (local.get $at) (i32.const 4)))
        (br_if $copy (i32.lt_u (local.get $at) (i32.add (local.get $out) (local.get $bytes)))))
      (local.set $bytes (i32.shl (local.get $bytes) (i32.const 1)))
      (local.set $from (i32.add (local.get $from) (i32.const 1)))
      (br $next))))

  (func $two_of_places (param $out i32) (param $start i32) (param $cube i64)
    (call $half_of_places (local.get $out) (local.get $start) (local.get $cube) (i32.const 0) (global.get $low))
    (call $half_of_places (i32.add (local.get $out) (i32.shl (i32.const 4) (global.get $low)))
      (i32.const 0) (local.get $cube) (global.get $low) (i32.add (global.get $low) (global.get $high))))

  ;; A table of products: `start` times the factors of each subset of the axes from `from` to before `to`.
  (func $half_of_factors (param $out i32) (param $start f64) (param $shared_by i64) (param $cause i32)
      (param $from i32) (param $to i32)
    (local $bytes i32) (local $at i32) (local $by f64)
    (f64.store (local.get $out) (local.get $start))
    (local.set $bytes (i32.const 8))
    (block $end (loop $next
      (br_if $end (i32.ge_u (local.get $from) (local.get $to)))
      (local.set $by (call $factor (local.get $shared_by) (local.get $cause) (call $check_of (local.get $from))))
      (local.set $at (local.get $out))
      (loop $copy
        (f64.store (i32.add (local.get $at) (local.get $bytes)) (f64.mul (f64.load (local.get $at)) (local.get $by)))
        (local.set $at (i32.add (local.get $at) (i32.const 8)))
        (br_if $copy (i32.lt_u (local.get $at) (i32.add (local.get $out) (local.get $bytes)))))
      (local.set $bytes (i32.shl (local.get $bytes) (i32.const 1)))
      (local.set $from (i32.add (local.get $from) (i32.const 1)))
      (br $next))))

  (func $two_of_factors (param $out i32) (param $start f64) (param $shared_by i64) (param $cause i32)
    (call $half_of_factors (local.get $out) (local.get $start) (local.get $shared_by) (local.get $cause)
      (i32.const 0) (global.get $low))
    (call $half_of_factors (i32.add (local.get $out) (i32.shl (i32.const 8) (global.get $low)))
      (f64.const 1) (local.get $shared_by) (local.get $cause)
      (global.get $low) (i32.add (global.get $low) (global.get $high))))

  ;; Number the axes of a set; choose how they fall into halves.
  (func $number_axes (param $checks_free i64)
    (local $axes_found i32)
    (block $end (loop $next
      (br_if $end (i64.eqz (local.get $checks_free)))
      (i32.store (i32.add (global.get $axis) (i32.shl (local.get $axes_found) (i32.const 2)))
        (i32.wrap_i64 (i64.ctz (local.get $checks_free))))
      (local.set $axes_found (i32.add (local.get $axes_found) (i32.const 1)))
      (local.set $checks_free
        (i64.and (local.get $checks_free) (i64.sub (local.get $checks_free) (i64.const 1))))
      (br $next)))
    (global.set $low (i32.shr_u (i32.add (local.get $axes_found) (i32.const 1)) (i32.const 1)))
    (global.set $high (i32.sub (local.get $axes_found) (global.get $low)))
    (global.set $places (i32.add (i32.shl (i32.const 4) (global.get $low)) (i32.shl (i32.const 4) (global.get $high)))))

  ;; The weight of every state of a set, with the tables of one cause after the other in between.
  (func $weigh (param $causes_left i64) (param $made_checks i64)
    (local $cause i32) (local $l i32) (local $h i32) (local $at i32) (local $by f64) (local $ends i32) (local $upper i32)
    (memory.fill (global.get $weight) (i32.const 0)
      (i32.shl (i32.const 8) (i32.add (global.get $low) (global.get $high))))
    (local.set $ends (i32.add (global.get $tables) (i32.shl (i32.const 8) (global.get $low))))
    (local.set $upper (i32.add (local.get $ends) (i32.shl (i32.const 8) (global.get $high))))
    (block $end (loop $next
      (br_if $end (i64.eqz (local.get $causes_left)))
      (local.set $cause (i32.wrap_i64 (i64.ctz (local.get $causes_left))))
      (call $two_of_factors (global.get $tables)
        (call $factor_after
          (f64.load (i32.add (global.get $weights) (i32.shl (local.get $cause) (i32.const 3))))
          (i64.const 0) (local.get $cause) (local.get $made_checks))
        (i64.const 0) (local.get $cause))
      (local.set $at (global.get $weight))
      (local.set $h (local.get $ends))
      (loop $rows
        (local.set $by (f64.load (local.get $h)))
        (local.set $l (global.get $tables))
        (loop $row
          (f64.store (local.get $at)
            (f64.add (f64.load (local.get $at)) (f64.mul (local.get $by) (f64.load (local.get $l)))))
          (local.set $at (i32.add (local.get $at) (i32.const 8)))
          (local.set $l (i32.add (local.get $l) (i32.const 8)))
          (br_if $row (i32.lt_u (local.get $l) (local.get $ends))))
        (local.set $h (i32.add (local.get $h) (i32.const 8)))
        (br_if $rows (i32.lt_u (local.get $h) (local.get $upper))))
      (local.set $causes_left (i64.and (local.get $causes_left) (i64.sub (local.get $causes_left) (i64.const 1))))
      (br $next))))

  ;; Address of what an array of one number for each set and variant holds; `shift` gives its width.
  (func $of_variant (param $array i32) (param $set i32) (param $variant i32) (param $shift i32) (result i32)
    (i32.add (local.get $array) (i32.shl
      (i32.add (i32.mul (local.get $set) (global.get $variants)) (local.get $variant)) (local.get $shift))))

  ;; For every variant two tables of places of a set, once the checks in `done` are made; returns where they end.
  (func $places_of (param $out i32) (param $set i32) (param $done i64) (result i32)
    (local $variant i32) (local $cube i64)
    (loop $next
      (local.set $cube (i64.load (call $of_variant (global.get $axes) (local.get $set) (local.get $variant) (i32.const 3))))
      (call $two_of_places (local.get $out)
        (call $place_after
          (i32.load (call $of_variant (global.get $base) (local.get $set) (local.get $variant) (i32.const 2)))
          (local.get $cube) (local.get $done))
        (local.get $cube))
      (local.set $out (i32.add (local.get $out) (global.get $places)))
      (local.set $variant (i32.add (local.get $variant) (i32.const 1)))
      (br_if $next (i32.lt_u (local.get $variant) (global.get $variants))))
    (local.get $out))

  ;; The axes of checks; bit 31 as well, which counts as done in every state, if `always`.
  (func $axes_of (param $of i64) (param $always i32) (result i32)
    (local $axis_number i32) (local $found i32)
    (block $end (loop $next
      (br_if $end (i32.ge_u (local.get $axis_number) (i32.add (global.get $low) (global.get $high))))
      (if (call $has (local.get $of) (call $check_of (local.get $axis_number)))
        (then (local.set $found (i32.or (local.get $found) (i32.shl (i32.const 1) (local.get $axis_number))))))
      (local.set $axis_number (i32.add (local.get $axis_number) (i32.const 1)))
      (br $next)))
    (i32.or (local.get $found) (i32.shl (local.get $always) (i32.const 31))))

  ;; For every hazard three subsets of axes: it can be isolated where one of the first is done, and it can be
  ;; not isolated where none of the second is done, or one of the third.
  (func $find_stages (param $set i32)
    (local $hazard i32) (local $at i32) (local $dropped i64) (local $made_checks i64) (local $exposed i64) (local $needed i64)
    (local.set $made_checks (i64.load (i32.add (global.get $made) (i32.shl (local.get $set) (i32.const 3)))))
    (local.set $dropped (i64.or (local.get $made_checks) (i64.xor (i64.const -1) (i64.or
      (i64.load (i32.add (global.get $sure) (i32.shl (local.get $set) (i32.const 3))))
      (i64.load (i32.add (global.get $shared) (i32.shl (local.get $set) (i32.const 3))))))))
    (local.set $at (global.get $stages))
    (block $end (loop $next
      (br_if $end (i32.ge_u (local.get $hazard) (global.get $hazards)))
      (local.set $exposed (i64.load (i32.add (global.get $exposing) (i32.shl (local.get $hazard) (i32.const 3)))))
      (local.set $needed (i64.load (i32.add (global.get $needing) (i32.shl (local.get $hazard) (i32.const 3)))))
      (i32.store (local.get $at) (call $axes_of (local.get $exposed) (i32.or
        (i64.ne (i64.const 0) (i64.and (local.get $exposed) (local.get $dropped)))
        (i32.and (i32.const 1) (i32.shr_u
          (i32.load (i32.add (global.get $spare) (i32.shl (local.get $set) (i32.const 2)))) (local.get $hazard))))))
      (i32.store offset=4 (local.get $at) (call $axes_of (local.get $exposed)
        (i64.ne (i64.const 0) (i64.and (local.get $exposed) (local.get $made_checks)))))
      (i32.store offset=8 (local.get $at) (call $axes_of (local.get $needed)
        (i64.ne (i64.const 0) (i64.and (local.get $needed) (local.get $dropped)))))
      (local.set $at (i32.add (local.get $at) (i32.const 12)))
      (local.set $hazard (i32.add (local.get $hazard) (i32.const 1)))
      (br $next))))

  ;; The hazards that can be isolated once these axes are done; shifted by 16, those that cannot be other than that.
  (func $isolated_after (param $done i32) (result i32)
    (local $hazard i32) (local $at i32) (local $can i32) (local $must i32)
    (local.set $done (i32.or (local.get $done) (i32.const 0x80000000)))
    (local.set $at (global.get $stages))
    (block $end (loop $next
      (br_if $end (i32.ge_u (local.get $hazard) (global.get $hazards)))
      (local.set $can (i32.or (local.get $can) (i32.shl
        (i32.ne (i32.const 0) (i32.and (local.get $done) (i32.load (local.get $at)))) (local.get $hazard))))
      (local.set $must (i32.or (local.get $must) (i32.shl
        (i32.and
          (i32.ne (i32.const 0) (i32.and (local.get $done) (i32.load offset=4 (local.get $at))))
          (i32.eqz (i32.and (local.get $done) (i32.load offset=8 (local.get $at)))))
        (local.get $hazard))))
      (local.set $at (i32.add (local.get $at) (i32.const 12)))
      (local.set $hazard (i32.add (local.get $hazard) (i32.const 1)))
      (br $next)))
    (i32.or (local.get $can) (i32.shl (local.get $must) (i32.const 16))))

  ;; A candidate is a check that could come next: i32 its axis as a bit, or 0 if it surely splits; i32 where
  ;; the tables of its parts begin, and i32 where they end; i32 nothing; f64 how many of its answers leave
  ;; the set whole; then for each variant f64 its minutes, i32 how far on the places of the variant after it stand,
  ;; i32 nothing.
  (func $candidate (param $out i32) (param $check i32) (param $bit i32) (param $set i32)
    (local $answer i32) (local $left i64) (local $variant i32) (local $whole f64)
    (local.set $left (i64.load (i32.add (global.get $sets) (i32.shl (local.get $set) (i32.const 3)))))
    (loop $each
      (if (i64.eqz (i64.and (local.get $left) (i64.xor (i64.const -1) (i64.load (i32.add (global.get $masks) (i32.shl
            (i32.add (i32.mul (local.get $check) (global.get $answers)) (local.get $answer)) (i32.const 3)))))))
        (then (local.set $whole (f64.add (local.get $whole) (f64.const 1)))))
      (local.set $answer (i32.add (local.get $answer) (i32.const 1)))
      (br_if $each (i32.lt_u (local.get $answer) (global.get $answers))))
    (i32.store (local.get $out) (local.get $bit))
    (f64.store offset=16 (local.get $out) (local.get $whole))
    (local.set $out (i32.add (local.get $out) (i32.const 24)))
    (loop $next
      (f64.store (local.get $out) (f64.add
        (f64.load (i32.add (global.get $minutes) (i32.shl (local.get $check) (i32.const 3))))
        (f64.load (i32.add (global.get $stays) (i32.shl
          (i32.and
            (i32.load (i32.add (global.get $exposes) (i32.shl (local.get $check) (i32.const 2))))
            (i32.xor (local.get $variant) (i32.const -1)))
          (i32.const 3))))))
      (i32.store offset=8 (local.get $out) (i32.mul (global.get $places) (i32.and
        (i32.or (local.get $variant)
          (i32.load (i32.add (global.get $exposes) (i32.shl (local.get $check) (i32.const 2)))))
        (i32.xor (i32.const -1)
          (i32.load (i32.add (global.get $needs) (i32.shl (local.get $check) (i32.const 2))))))))
      (local.set $out (i32.add (local.get $out) (i32.const 16)))
      (local.set $variant (i32.add (local.get $variant) (i32.const 1)))
      (br_if $next (i32.lt_u (local.get $variant) (global.get $variants)))))

  ;; The tables of the parts of a check that go on: two of factors, then two of places for each variant.
  (func $parts (param $out i32) (param $check i32) (param $set i32) (param $row i32) (result i32)
    (local $answer i32) (local $child i32) (local $done i64) (local $shared_by i64) (local $cause i32)
    (local.set $done (i64.or
      (i64.load (i32.add (global.get $made) (i32.shl (local.get $set) (i32.const 3))))
      (i64.shl (i64.const 1) (i64.extend_i32_u (local.get $check)))))
    (loop $each
      (local.set $child (i32.load (i32.add (local.get $row) (i32.shl
        (i32.add (i32.mul (local.get $check) (global.get $answers)) (local.get $answer)) (i32.const 2)))))
      (if (i32.ge_s (local.get $child) (i32.const 0))
        (then
          (local.set $shared_by (i64.load (i32.add (global.get $shared) (i32.shl (local.get $child) (i32.const 3)))))
          (local.set $cause (i32.load (i32.add (global.get $first) (i32.shl (local.get $child) (i32.const 2)))))
          (call $two_of_factors (local.get $out)
            (call $factor_after (f64.const 1) (local.get $shared_by) (local.get $cause) (local.get $done))
            (local.get $shared_by) (local.get $cause))
          (local.set $out (call $places_of
            (i32.add (local.get $out) (i32.shl (global.get $places) (i32.const 1)))
            (local.get $child) (local.get $done)))))
      (local.set $answer (i32.add (local.get $answer) (i32.const 1)))
      (br_if $each (i32.lt_u (local.get $answer) (global.get $answers))))
    (local.get $out))

  ;; The fewest minutes times weight of every state of one set; `row` is where its children stand.
  (func $solve_set (param $set i32) (param $row i32)
    (local $own_places i32) (local $out i32) (local $checks_left i64) (local $check i32) (local $bit i32)
    (local $candidate_at i32) (local $candidates_end i32) (local $size i32) (local $part_size i32)
    (local $done i32) (local $low_at i32) (local $high_at i32) (local $mass f64) (local $variant i32) (local $cubes i64)
    (local $best f64) (local $total f64) (local $after i32) (local $part i32) (local $end_of_parts i32)
    (local $low_bytes i32) (local $at i32) (local $factors_low i32) (local $factors_high i32) (local $low_mask i32)
    (local $stage i32) (local $places i32) (local $low i32) (local $likely i32) (local $number i32) (local $to_try i32)

    (call $number_axes (i64.load (i32.add (global.get $free) (i32.shl (local.get $set) (i32.const 3)))))
    (call $weigh
      (i64.load (i32.add (global.get $sets) (i32.shl (local.get $set) (i32.const 3))))
      (i64.load (i32.add (global.get $made) (i32.shl (local.get $set) (i32.const 3)))))
    (call $find_stages (local.get $set))
    (local.set $cubes (i64.load (i32.add (global.get $own) (i32.shl (local.get $set) (i32.const 3)))))

    ;; Tables: first the set's own places, then those of the parts of one candidate after the other.
    (local.set $own_places (global.get $tables))
    (local.set $out (call $places_of (local.get $own_places) (local.get $set) (i64.const 0)))
    (local.set $size (i32.add (i32.const 24) (i32.shl (global.get $variants) (i32.const 4))))
    (local.set $part_size (i32.mul (global.get $places) (i32.add (global.get $variants) (i32.const 2))))
    (local.set $checks_left (i64.or
      (i64.load (i32.add (global.get $sure) (i32.shl (local.get $set) (i32.const 3))))
      (i64.load (i32.add (global.get $free) (i32.shl (local.get $set) (i32.const 3))))))
    (local.set $candidates_end (global.get $candidates))
    (local.set $bit (i32.const 1))
    (block $end (loop $next
      (br_if $end (i64.eqz (local.get $checks_left)))
      (local.set $check (i32.wrap_i64 (i64.ctz (local.get $checks_left))))
      (if (call $has (i64.load (i32.add (global.get $free) (i32.shl (local.get $set) (i32.const 3)))) (local.get $check))
        (then
          (call $candidate (local.get $candidates_end) (local.get $check) (local.get $bit) (local.get $set))
          (local.set $bit (i32.shl (local.get $bit) (i32.const 1))))
        (else (call $candidate (local.get $candidates_end) (local.get $check) (i32.const 0) (local.get $set))))
      (i32.store offset=4 (local.get $candidates_end) (local.get $out))
      (local.set $out (call $parts (local.get $out) (local.get $check) (local.get $set) (local.get $row)))
      (i32.store offset=8 (local.get $candidates_end) (local.get $out))
      (local.set $candidates_end (i32.add (local.get $candidates_end) (local.get $size)))
      (local.set $number (i32.add (local.get $number) (i32.const 1)))
      (local.set $checks_left (i64.and (local.get $checks_left) (i64.sub (local.get $checks_left) (i64.const 1))))
      (br $next)))

    ;; From the state with all free checks done down to that with none. Of the candidates that come next the one
    ;; that was best for the state before is tried first, and what each costs is added up only as far as needed.
    (local.set $places (global.get $places))
    (local.set $low (global.get $low))
    (local.set $low_bytes (i32.shl (i32.const 4) (local.get $low)))
    (local.set $low_mask (i32.sub (i32.shl (i32.const 1) (local.get $low)) (i32.const 1)))
    (local.set $done (i32.sub (i32.shl (i32.const 1) (i32.add (local.get $low) (global.get $high))) (i32.const 1)))
    (local.set $likely (global.get $candidates))
    (loop $states
      (local.set $low_at (i32.shl (i32.and (local.get $done) (local.get $low_mask)) (i32.const 2)))
      (local.set $high_at (i32.add (local.get $low_bytes)
        (i32.shl (i32.shr_u (local.get $done) (local.get $low)) (i32.const 2))))
      (local.set $factors_low (i32.shl (local.get $low_at) (i32.const 1)))
      (local.set $factors_high (i32.shl (local.get $high_at) (i32.const 1)))
      (local.set $mass (f64.load (i32.add (global.get $weight) (i32.shl (local.get $done) (i32.const 3)))))
      (local.set $stage (call $isolated_after (local.get $done)))
      (local.set $variant (i32.const 0))
      (loop $each_variant
        (block $no_state
          (br_if $no_state (i32.eqz (call $has (local.get $cubes) (local.get $variant))))
          (br_if $no_state (i32.and (local.get $variant) (i32.xor (local.get $stage) (i32.const -1))))
          (br_if $no_state (i32.and (i32.shr_u (local.get $stage) (i32.const 16))
            (i32.xor (local.get $variant) (i32.const -1))))
          (local.set $best (f64.const inf))
          (local.set $candidate_at (local.get $likely))
          (local.set $to_try (local.get $number))
          (block $no_more (loop $each_candidate
            (br_if $no_more (i32.eqz (local.get $to_try)))
            (block $not_this
              (local.set $bit (i32.load (local.get $candidate_at)))
              (br_if $not_this (i32.and (local.get $bit) (local.get $done)))
              (local.set $at (i32.add (local.get $candidate_at) (i32.shl (local.get $variant) (i32.const 4))))
              (local.set $total (f64.mul (local.get $mass) (f64.load offset=24 (local.get $at))))
              (local.set $after (i32.load offset=32 (local.get $at)))
              (if (local.get $bit) (then
                (local.set $at (i32.add (local.get $own_places) (local.get $after)))
                (local.set $bit (i32.or (local.get $bit) (local.get $done)))
                (local.set $total (f64.add (local.get $total) (f64.mul
                  (f64.load offset=16 (local.get $candidate_at))
                  (f64.load $values (i64.shl (i64.extend_i32_u (i32.add
                    (i32.load (i32.add (local.get $at)
                      (i32.shl (i32.and (local.get $bit) (local.get $low_mask)) (i32.const 2))))
                    (i32.load (i32.add (local.get $at) (i32.add (local.get $low_bytes)
                      (i32.shl (i32.shr_u (local.get $bit) (local.get $low)) (i32.const 2)))))))
                    (i64.const 3))))))))
              (local.set $part (i32.load offset=4 (local.get $candidate_at)))
              (local.set $end_of_parts (i32.load offset=8 (local.get $candidate_at)))
              (block $parts_end (loop $each_part
                (br_if $not_this (f64.ge (local.get $total) (local.get $best)))
                (br_if $parts_end (i32.ge_u (local.get $part) (local.get $end_of_parts)))
                (local.set $at (i32.add (local.get $part)
                  (i32.add (i32.shl (local.get $places) (i32.const 1)) (local.get $after))))
                (local.set $total (f64.add (local.get $total) (f64.mul
                  (f64.mul
                    (f64.load (i32.add (local.get $part) (local.get $factors_low)))
                    (f64.load (i32.add (local.get $part) (local.get $factors_high))))
                  (f64.load $values (i64.shl (i64.extend_i32_u (i32.add
                    (i32.load (i32.add (local.get $at) (local.get $low_at)))
                    (i32.load (i32.add (local.get $at) (local.get $high_at)))))
                    (i64.const 3))))))
                (local.set $part (i32.add (local.get $part) (local.get $part_size)))
                (br $each_part)))
              (local.set $best (local.get $total))
              (local.set $likely (local.get $candidate_at)))
            (local.set $to_try (i32.sub (local.get $to_try) (i32.const 1)))
            (local.set $candidate_at (i32.add (local.get $candidate_at) (local.get $size)))
            (if (i32.eq (local.get $candidate_at) (local.get $candidates_end))
              (then (local.set $candidate_at (global.get $candidates))))
            (br $each_candidate)))
          (local.set $at (i32.add (local.get $own_places) (i32.mul (local.get $variant) (local.get $places))))
          (f64.store $values
            (i64.shl (i64.extend_i32_u (i32.add
              (i32.load (i32.add (local.get $at) (local.get $low_at)))
              (i32.load (i32.add (local.get $at) (local.get $high_at)))))
              (i64.const 3))
            (select (f64.const 0) (local.get $best) (f64.eq (local.get $best) (f64.const inf)))))
        (local.set $variant (i32.add (local.get $variant) (i32.const 1)))
        (br_if $each_variant (i32.lt_u (local.get $variant) (global.get $variants))))
      (local.set $done (i32.sub (local.get $done) (i32.const 1)))
      (br_if $states (i32.ge_s (local.get $done) (i32.const 0)))))

  ;; Work out all states of the sets from `first_set` to before `last_set`.
  (func (export "solve") (param $first_set i32) (param $last_set i32)
    (local $row i32)
    (local.set $row (global.get $children))
    (block $end (loop $next
      (br_if $end (i32.ge_u (local.get $first_set) (local.get $last_set)))
      (call $solve_set (local.get $first_set) (local.get $row))
      (local.set $row (i32.add (local.get $row)
        (i32.shl (i32.mul (global.get $checks) (global.get $answers)) (i32.const 2))))
      (local.set $first_set (i32.add (local.get $first_set) (i32.const 1)))
      (br $next)))))
