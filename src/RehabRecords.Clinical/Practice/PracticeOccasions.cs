namespace RehabRecords.Clinical;

/// <summary>Turns the occurrences of several exercises into practice occasions, which one session each can serve.</summary>
internal static class PracticeOccasions
{
    /// <summary>
    /// Each exercise's occurrences are laid on the occasions found so far, soonest first; where their days overlap they
    /// become one occasion, on the days both allow. With fixed days this is, for each day, the largest number any exercise
    /// asks for.
    /// </summary>
    public static IReadOnlyList<DueOccurrence> Of(IEnumerable<List<DueOccurrence>> exercises)
    {
        var occasions = new List<DueOccurrence>();
        foreach (var occurrences in exercises.OrderByDescending(IsFixed).ThenByDescending(list => list.Count))
        {
            var found = occasions.OrderBy(o => o.To).ToList();
            var taken = new bool[found.Count];
            var first = 0;
            foreach (var occurrence in occurrences.OrderBy(o => o.To).ThenBy(o => o.From))
            {
                // Occasions before this one's days, or taken, are of no use to any later occurrence either.
                while (first < found.Count && (taken[first] || found[first].To < occurrence.From))
                    first++;
                var at = first;
                while (at < found.Count && (taken[at] || !Overlap(found[at], occurrence)))
                    at++;
                if (at == found.Count)
                {
                    occasions.Add(occurrence);
                    continue;
                }
                taken[at] = true;
                found[at] = Both(found[at], occurrence);
            }
            occasions = [.. found, .. occasions.Skip(found.Count)];
        }
        return occasions;
    }

    private static bool IsFixed(List<DueOccurrence> occurrences) => occurrences.TrueForAll(o => o.From == o.To);

    private static bool Overlap(DueOccurrence a, DueOccurrence b) => a.From <= b.To && b.From <= a.To;

    private static DueOccurrence Both(DueOccurrence a, DueOccurrence b)
    {
        var (from, to) = (a.From > b.From ? a.From : b.From, a.To < b.To ? a.To : b.To);
        // The earlier of the two, which never lies after the last day; but before the first, when one began later.
        var by = a.By < b.By ? a.By : b.By;
        return new(from, to, by < from ? from : by);
    }
}
