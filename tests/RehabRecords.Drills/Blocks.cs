namespace RehabRecords.Drills;

/// <summary>A file on a disk that has taken some writes for good and keeps the later ones in its memory.</summary>
internal sealed class Blocks : IDisposable
{
    private readonly List<Step> _waiting = [];
    private readonly MemoryStream _sure = new();

    public void Do(Step step)
    {
        switch (step)
        {
            // That a file was deleted counts as known at once: an older one does not come back.
            case { Bytes: null, Place: -2 }:
                _waiting.Clear();
                _sure.SetLength(0);
                break;
            case { Bytes: null, Place: -1 }:
                foreach (var write in _waiting)
                    Apply(_sure, write, write.Bytes?.Length ?? 0);
                _waiting.Clear();
                break;
            default:
                _waiting.Add(step);
                break;
        }
    }

    /// <summary>What is there after the power came back.</summary>
    /// <param name="way">0: nothing that waited arrived; 1: all; 2: some of it; 3: a beginning of it, the last write in part.</param>
    public byte[] After(Random random, int way, int sector)
    {
        using var left = new MemoryStream();
        left.Write(_sure.GetBuffer(), 0, (int)_sure.Length);
        var arrived = way switch
        {
            0 => [],
            1 => _waiting,
            2 => _waiting.Where(_ => random.Next(2) == 0).ToList(),
            _ => _waiting.Take(random.Next(_waiting.Count + 1)).ToList(),
        };
        foreach (var (write, last) in arrived.Select((w, i) => (w, i == arrived.Count - 1)))
        {
            var length = write.Bytes?.Length ?? 0;
            Apply(left, write, way == 3 && last && length > sector ? random.Next(length / sector) * sector : length);
        }

        return left.ToArray();
    }

    public void Dispose() => _sure.Dispose();

    private static void Apply(MemoryStream file, Step step, int length)
    {
        if (step.Bytes is not { } bytes)
        {
            file.SetLength(step.Place);
            return;
        }

        file.Position = step.Place;
        file.Write(bytes, 0, length);
    }
}
