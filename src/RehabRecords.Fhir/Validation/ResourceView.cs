using System.Collections;
using Hl7.Fhir.Model;

namespace RehabRecords.Fhir.Validation;

/// <summary>One element of a resource and where it stands. Paths are only made when a problem is reported.</summary>
internal sealed class Element(Base value, string name, int? index, Element? parent)
{
    public Base Value { get; } = value;

    public string Name { get; } = name;

    public Element? Parent { get; } = parent;

    /// <summary>The resource that directly holds the element (the contained one inside a contained one).</summary>
    public Resource Owner { get; } = value as Resource ?? parent!.Owner;

    /// <summary>FHIRPath from the root resource.</summary>
    public string Path => Parent is null ? Name : $"{Parent.Path}.{Name}{(index is { } i ? $"[{i}]" : "")}";

    /// <summary>The path by which a StructureDefinition knows the element, without [x].</summary>
    public string DefinedAt => Parent is null ? Value.TypeName : $"{Parent.TypeRoot}.{Name}";

    /// <summary>The path under which a StructureDefinition lists the children of the element.</summary>
    public string TypeRoot => Value switch
    {
        Resource => Value.TypeName,
        _ when Value.TypeName.Contains('#', StringComparison.Ordinal) => Recursion()?.DefinedAt ?? DefinedAt,
        _ => Value.TypeName,
    };

    /// <summary>The resource the element belongs to, as an element; for a contained resource the containing one.</summary>
    public Element Container
    {
        get
        {
            var at = this;
            while (at.Value is not Resource || (at.Name == "contained" && at.Parent is not null))
                at = at.Parent!;
            return at;
        }
    }

    // An action inside an action is defined as the outer one is.
    private Element? Recursion()
    {
        Element? outermost = null;
        for (var at = Parent; at is not null && at.Value is not Resource; at = at.Parent)
            if (at.Value.GetType() == Value.GetType())
                outermost = at;
        return outermost;
    }
}

/// <summary>A resource walked once, so that the checks need not walk it again.</summary>
internal sealed class ResourceView
{
    private readonly List<Element> _elements = [];

    private ResourceView(Resource root) => Walk(new Element(root, root.TypeName, null, null));

    /// <summary>All elements in document order; the first is the resource.</summary>
    public IReadOnlyList<Element> Elements => _elements;

    public Resource Root => (Resource)_elements[0].Value;

    /// <summary>The entries, if the resource is a Bundle.</summary>
    public BundleEntries? Entries { get; private set; }

    public static ResourceView Of(Resource resource)
    {
        var view = new ResourceView(resource);
        if (resource is Bundle bundle)
            view.Entries = new BundleEntries(bundle);
        return view;
    }

    public IEnumerable<(Element At, T Value)> All<T>()
        where T : Base
    {
        foreach (var element in _elements)
            if (element.Value is T value)
                yield return (element, value);
    }

    private void Walk(Element element)
    {
        _elements.Add(element);
        foreach (var (name, child) in element.Value.EnumerateElements())
        {
            if (child is Base one)
            {
                Walk(new Element(one, name, null, element));
            }
            else if (child is IList many)
            {
                for (var i = 0; i < many.Count; i++)
                    if (many[i] is Base item)
                        Walk(new Element(item, name, i, element));
            }
        }
    }
}
