namespace RehabRecords.Fhir.Parsing;

/// <summary>Keeps the path of the element an XML reader is at. Repeats of a FHIR element lie beside each other.</summary>
internal sealed class XmlPath
{
    private readonly List<(string Name, int Index)> _open = [];
    private readonly List<(string Name, int Index)> _lastChild = [];

    /// <summary>How often the present element has occurred beside its like.</summary>
    public int Repeats => _open.Count == 0 ? 0 : _open[^1].Index + 1;

    public void Enter(string name, int depth)
    {
        while (_open.Count > depth)
            _open.RemoveAt(_open.Count - 1);
        while (_lastChild.Count <= depth)
            _lastChild.Add(("", 0));
        while (_lastChild.Count > depth + 1)
            _lastChild.RemoveAt(_lastChild.Count - 1);
        var index = _lastChild[depth].Name == name ? _lastChild[depth].Index + 1 : 0;
        _lastChild[depth] = (name, index);
        _open.Add((name, index));
    }

    public override string ToString() => _open.Count == 0
        ? ""
        : ElementPath.Of(_open[0].Name, _open.Skip(1).Select(o => new Step(o.Name, o.Index > 0 ? o.Index : null)));
}
