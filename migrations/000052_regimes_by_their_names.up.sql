-- The regimes of stored plans by their present names; what they give stays the same. Only the rows are locked.
update inspection_plan set regime = case regime when 'anchored' then 'anniversary' else 'from_last' end where regime in ('anchored', 'from_completion');
